"""Measurements. `python3 run.py bench` runs them all, `python3 run.py bench NAME` those named."""
