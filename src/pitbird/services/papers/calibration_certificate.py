"""A calibration certificate, as a paper."""

from __future__ import annotations

from pitbird.fleet.state import CylinderState, DetectorState
from pitbird.fleet.times import ms_of
from pitbird.papers.bump_test import Gas
from pitbird.papers.calibration_certificate import Calibration, sheet
from pitbird.services.knowing import Now, Then
from pitbird.services.papers import making
from pitbird.services.papers.bump_test import quarantined, subjects_of, trained
from pitbird.services.papers.making import Made, NoSuchPaper, Order


def calibration_certificate(index: int, order: Order) -> Made:
    """The certificate of the calibration at a place of the book. Raises PaperRefused."""
    order = order.checked()
    entry = making.entry_of_kind(index, "calibration")
    now = Now().state(entry.body["detector"])
    then = Then(below=index + 1).state(entry.body["detector"])
    if not isinstance(then, DetectorState) or not isinstance(now, DetectorState):
        raise NoSuchPaper(f"entry: the detector of entry {index} is not known to the book")
    read = making.reader(order, entry.zone, [entry], subjects=subjects_of(then, now))
    gas = {}
    for body in (entry.body, entry.counts or {}):
        for subject in body.get("cylinders", ()):
            state = Now().state(subject)
            if isinstance(state, CylinderState):
                traceable = str(making.described(state).get("traceable_to") or "")
                gas[subject] = Gas(
                    state, traceable_to=traceable, quarantined=quarantined(state, ms_of(body["at"]), read)
                )
    told = Calibration(
        entry=entry,
        detector=then,
        gas=gas,
        trained=trained(entry.body["by"], "calibration", entry.at, entry.zone, read),
        loud=making.loud_of(now, order.made_at, making.zone_of(now.site)),
    )
    stands = making.standing(order, entry.leaf(read.book))
    return making.printed(f"calibration-{index}", sheet(told, read, stands), order)
