"""Entries, decisions and calculations as something to look at or to hand over."""
