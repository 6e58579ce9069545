"""The small book with trouble in it: what is loud, in doubt or in question, for the pages that say so."""

from __future__ import annotations

from pitbird.fleet.times import DAY, HOUR, Ms, local, text_of
from pitbird.services.appending import append
from pitbird.services.writing import Actor, prepare
from tests.bodies import CHANNELS
from tests.web.conftest import Cast, ago, detector, fill, passed


def fill_troubled(now: Ms) -> Cast:
    """The small book; a doubtful clock, an incident, an issue untested, lives that end, gas in question."""
    cast = fill(now)
    doubtful(cast, cast.tester, "D-019")
    doubtful(cast, cast.keeper, "D-017")
    for code, days in (("D-020", 12), ("D-021", -1)):
        last = local(Ms(now + days * DAY), "Europe/Lisbon").date().isoformat()
        fixed = {"activated": "2024-06-01", "life_ends": last, "calibrated_by_maker_only": True}
        cast.write(detector(code, f"Q-{code}") | fixed, minutes_ago=60)
    for code in ("D-023", "D-024"):
        cast.write(detector(code, f"Q-{code}"), minutes_ago=60)
    incident = {"kind": "out-of-service", "detector": "detector:D-023", "because": "incident"}
    cast.write(incident, minutes_ago=50)
    issue = {
        "kind": "issued-untested", "detector": "detector:D-024", "to": "person:P-07",
        "authority": "person:K-1", "until": text_of(Ms(now + 3 * HOUR)), "reason": "Sewage rising",
    }  # fmt: skip
    cast.write(issue, minutes_ago=30)
    spoiled = passed("D-017", ago(25, now)) | {"outcome": "spoiled", "spoiled_because": "hood-slipped"}
    cast.write(spoiled, minutes_ago=24, by=cast.tester)
    failed = passed("D-019", ago(22, now), outcome="failed", missed="CO")
    cast.write(failed, minutes_ago=21, by=cast.tester)
    thin_gas(cast)
    return cast


def thin_gas(cast: Cast) -> None:
    """C-114 on a regulator that gives D-025's pump too little, through a hose, its label on another basis."""
    channels = [{**channel, "t90_s": "20"} for channel in CHANNELS]
    channels[0]["lfl_basis"] = "nfpa-497"
    pumped = {"channels": channels, "draws": "pump", "pump_l_min": "0.5"}
    cast.write(detector("D-025", "Q-D-025") | pumped, minutes_ago=20)
    flow = {"flow": "fixed", "flow_l_min": "0.3", "hose_m": "2"}
    cast.write({"kind": "regulator", "regulator": "regulator:R-08", **flow}, minutes_ago=19)
    gas = [
        {"gas": "methane", "amount": "2.2", "unit": "vol_pct", "label_pct_lfl": "50"},
        {"gas": "oxygen", "amount": "15", "unit": "vol_pct"},
    ]
    cast.write(
        {
            "kind": "cylinder", "cylinder": "cylinder:C-114", "balance": "nitrogen", "expires": "2027-10-06",
            "minimum_pressure_bar": "2", "home": "site:north-works", "components": gas,
        },
        minutes_ago=18,
    )  # fmt: skip
    opened = {"at_site": "site:north-works", "regulator": "regulator:R-08", "gauge_bar": "60"}
    cast.write({"kind": "cylinder-opened", "cylinder": "cylinder:C-114", **opened}, minutes_ago=17)


def doubtful(cast: Cast, by: Actor, code: str) -> int:
    """A pass of ten minutes ago, as a phone four hours ahead sends it; its place in the book."""
    sent = ago(9, cast.now)
    body, _ = prepare(passed(code, Ms(ago(10, cast.now) + 4 * HOUR)), by, sent)
    return append(body.as_body(), recorded_at=sent).index
