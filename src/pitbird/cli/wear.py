"""``pitbird wear``: which sensors are likely to need replacing soon, and whether one detector's grow slow."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from pitbird.science.drift import Passing
    from pitbird.services.creep import Creep
    from pitbird.services.wear import Wear, WearAhead

CAUTION = "A sensor that is not listed has not been shown to be good: only gas shows that, before each use."


def command(
    detector: str | None = typer.Argument(None, help="One detector: how its sensors' t90 creeps, as well."),
    worn: float = typer.Option(50, min=1, max=99, help="Worn out below, % of the first sensitivity."),
    days: float = typer.Option(91, min=1, max=1000, help="So many days ahead."),
    site: str | None = typer.Option(None, help="Only the detectors of this site."),
    as_json: bool = typer.Option(False, "--json", help="As JSON, with every reading."),
) -> None:
    """Sensors whose sensitivity may fall below a limit, or whose stated end comes, with dates and bands."""
    from pitbird.cli.naming import known
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults

    make_ready_with_book()
    from pitbird.fleet.state import DetectorState
    from pitbird.services import clock
    from pitbird.services.creep import creep_of
    from pitbird.services.knowing import Now
    from pitbird.services.wear import wear_ahead

    faults = Faults()
    place = known("site", site, faults) if site else None
    one = known("detector", detector, faults) if detector else None
    faults.refuse()
    now = clock.now()
    told = wear_ahead(now=now, days=days, worn=worn / 100, site=place, only=one)
    state = Now().state(one) if one else None
    slow = creep_of(state, now=now, days=days) if isinstance(state, DetectorState) else ()
    typer.echo(_json(told, slow) if as_json else "\n\n".join([*_tables(told, slow), CAUTION]))


def _tables(told: WearAhead, slow: tuple[Creep, ...]) -> list[str]:
    from pitbird.cli.naming import code
    from pitbird.cli.tables import table, terminal_width

    heads = ["detector", "channel", "left of it", "chance", "passes the limit (5, 50, 95 %)", "last day"]
    rows = [
        [
            code(each.detector),
            each.channel,
            "" if each.left is None else f"{100 * each.left:.0f} %",
            "" if each.drift is None else f"{100 * each.chance:.0f} %",
            _dates(each, told),
            each.ends or "",
        ]
        for each in told.sensors
    ]
    found = (
        [table(heads, rows, width=terminal_width())] if rows else ["None that calibrations could tell of."]
    )
    found.append(
        f"{told.looked_at} sensors had calibrations enough to carry on; {told.too_few} had not. "
        f"Limit {100 * told.worn:g} % of the first sensitivity, {told.days:g} days ahead."
    )
    if slow:
        heads = ["channel", "stated t90", "months", "first", "last", "alarm too late above", "chance"]
        found.append(table(heads, [_slow_row(each) for each in slow], width=terminal_width()))
        found.append("t90 in seconds, as the bump tests' seconds to the alarm stand for, by the month.")
    return found


def _slow_row(each: Creep) -> list[str]:
    def number(value: float | None) -> str:
        return "not known" if value is None else f"{value:.0f}"

    ends = (each.months[0], each.months[-1]) if each.months else None
    return [
        each.channel,
        number(each.stated_s),
        str(len(each.months)),
        number(ends[0].t90_s) if ends else "",
        number(ends[1].t90_s) if ends else "",
        number(each.limit_s),
        "not known" if each.chance is None else f"{100 * each.chance:.0f} %",
    ]


def _dates(each: Wear, told: WearAhead) -> str:
    from pitbird.fleet.times import DAY, Ms, text_of

    if each.passing is None or not each.readings:
        return ""

    def day(days: float | None) -> str:
        if days is None:
            return "later"
        when = Ms(int(each.readings[0].at + days * DAY))
        return "already" if when <= told.now else text_of(when)[:10]

    passing = each.passing
    return ", ".join(day(days) for days in (passing.early_days, passing.median_days, passing.late_days))


def _json(told: WearAhead, slow: tuple[Creep, ...]) -> str:
    from pitbird.fleet.times import text_of

    def passes(passing: Passing | None) -> Any:
        if passing is None:
            return None
        return {
            "early_days": passing.early_days, "median_days": passing.median_days,
            "late_days": passing.late_days,
        }  # fmt: skip

    sensors = [
        {
            "detector": each.detector,
            "channel": each.channel,
            "gas": each.gas,
            "left": each.left,
            "chance": each.chance if each.drift is not None else None,
            "passes_days_after_first_reading": passes(each.passing),
            "stated_end": each.ends,
            "model": each.drift.model if each.drift is not None else None,
            "readings": [
                {"at": text_of(reading.at), "left": reading.left, "sd": reading.sd}
                for reading in each.readings
            ],
        }
        for each in told.sensors
    ]
    creep = [
        {
            "channel": each.channel,
            "gas": each.gas,
            "stated_t90_s": each.stated_s,
            "alarm_too_late_above_s": each.limit_s,
            "gas_on_s": each.gas_on_s,
            "chance": each.chance,
            "passes_days_after_first_month": passes(each.passing),
            "months": [
                {"at": text_of(month.at), "t90_s": month.t90_s, "tests": month.tests} for month in each.months
            ],
        }
        for each in slow
    ]
    value = {
        "now": text_of(told.now), "days": told.days, "worn": told.worn, "looked_at": told.looked_at,
        "too_few": told.too_few, "sensors": sensors, "creep": creep, "caution": CAUTION,
    }  # fmt: skip
    return json.dumps(value, indent=2, ensure_ascii=False)
