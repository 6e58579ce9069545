"""Audit bundles: what stands in them, and the two verifiers that travel inside."""
