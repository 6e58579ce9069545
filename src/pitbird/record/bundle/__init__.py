"""Verifying an audit bundle, ``pitbird-bundle/1``: a part of the book that needs neither book nor keeper.

The form and what each fault means stand in docs/bundle.md.
"""

from pitbird.record.bundle.report import EXIT, BundleReport, Fault, Files
from pitbird.record.bundle.verifying import verify_bundle

__all__ = ["EXIT", "BundleReport", "Fault", "Files", "verify_bundle"]
