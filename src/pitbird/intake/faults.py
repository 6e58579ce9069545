"""Entries refused, with every fault found."""

from __future__ import annotations

from collections.abc import Iterable

from pitbird.record.faults import Fault, listed, shown

__all__ = ["EntryRefused", "Fault", "listed", "shown"]


class EntryRefused(ValueError):
    """Something handed in was refused; ``faults`` holds every fault found. Nothing was kept of it."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))
