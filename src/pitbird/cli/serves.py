"""``pitbird serves``: whether a cylinder serves a detector, and what reaches its sensors."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from pitbird.fleet.state import CylinderState
    from pitbird.services.serving import TypeServed

CAUTION = (
    "The instrument's manual comes first. A pass shows that gas reached the sensors and the alarms came, not "
    "how true they read."
)

AGAINST = {
    "expired": "its last day of use was {}",
    "withdrawn": "its gas is in doubt until a release answers that",
    "emptied": "it was written down as empty",
}


def command(
    cylinder: str = typer.Argument(help="The cylinder's code."),
    detector: str = typer.Argument(help="The detector's code."),
    seconds: float = typer.Option(30, min=1, max=600, help="How long the gas is on."),
    as_json: bool = typer.Option(False, "--json", help="As JSON."),
) -> None:
    """Does this cylinder, with its regulator and hose, set off what gas must show of this detector? Exit
    status 1 if not, if it cannot be told, or if no test is made with it now."""
    from pitbird.cli.naming import known, zone_of
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import NEGATIVE, Faults

    make_ready_with_book()
    from pitbird.fleet.state import CylinderState, DetectorState
    from pitbird.services import clock
    from pitbird.services.knowing import Now
    from pitbird.services.serving import against, detector_served

    faults = Faults()
    gas = Now().state(known("cylinder", cylinder, faults) or "")
    unit = Now().state(known("detector", detector, faults) or "")
    faults.refuse()
    assert isinstance(gas, CylinderState)  # noqa: S101 - by the sort of its name
    assert isinstance(unit, DetectorState)  # noqa: S101
    found = detector_served(unit, gas, seconds)
    barred = against(gas, clock.now(), zone_of(gas.site))
    told = {"serves": found.serves, "against": barred, **_told(found, gas, seconds)}
    typer.echo(json.dumps(told, indent=2, ensure_ascii=False) if as_json else "\n".join(_lines(told)))
    if found.serves != "serves" or barred:
        raise typer.Exit(NEGATIVE)


def _told(found: TypeServed, gas: CylinderState, seconds: float) -> dict[str, Any]:
    from pitbird.rules.predicates.reaching import label_bases
    from pitbird.rules.serving import problems

    way = found.delivered
    return {
        "expires": gas.expires,
        "seconds": seconds,
        "share_of_test_gas": way.delivery.share,
        "hose_delay_s": way.delivery.delay_s,
        "finding": way.finding,
        "not_known": [
            *(["the regulator on the cylinder, or its flow"] if way.regulator_unknown else []),
            *(["what the pump draws"] if way.pump_unknown else []),
        ],
        "channels": [
            {
                "channel": served.channel.name,
                "serves": served.serves,
                "reads": None if served.found is None else served.found.reading.own,
                "unit": served.channel.unit,
                "alarms": [
                    {
                        "name": alarm.name,
                        "at": alarm.at,
                        "time_lean_s": alarm.time_lean_s,
                        "trips": alarm.trips,
                        "undetected_loss": alarm.undetected_loss,
                    }
                    for alarm in (served.found.alarms if served.found else ())
                    if alarm.shown_by == "gas"
                ],
                "label": [
                    f"the label says {float(basis.on_label):.3g} %LFL {basis.gas} "
                    f"({float(basis.label_vol_pct):.3g} % vol is 100 %LFL); the detector takes "
                    f"{float(basis.own_vol_pct):.3g} % vol, so a healthy one reads "
                    f"{float(basis.reads):.3g} %LFL"
                    for basis in label_bases(served.channel, gas.components)
                    if basis.differs
                ],
                "problems": list(problems(served, gas.components, gas.balance, seconds, way.delivery)),
            }
            for served in found.served
        ],
    }


def _lines(told: dict[str, Any]) -> list[str]:
    from pitbird.cli.tables import table, terminal_width

    words = {"serves": "It serves it.", "in-part": "It serves it in part.", "not": "It does not serve it."}
    lines = [words.get(told["serves"], "That cannot be told: something is not known.")]
    if told["against"]:
        lines.insert(0, f"Do not test with it: {AGAINST[told['against']].format(told['expires'])}.")
    if told["finding"]:
        lines.append(told["finding"])
    if told["not_known"]:
        lines.append(f"Not in the book: {', '.join(told['not_known'])}; all of it is taken to be test gas.")
    if told["hose_delay_s"]:
        lines.append(f"The hose takes {told['hose_delay_s']:g} s, in every time below.")
    rows = [
        [
            each["channel"],
            alarm["name"],
            f"{alarm['at']:g}",
            "never" if alarm["time_lean_s"] is None else f"{alarm['time_lean_s']:.1f} s",
            "yes" if alarm["trips"] else "no",
            "" if alarm["undetected_loss"] is None else f"{100 * alarm['undetected_loss']:.0f} %",
        ]
        for each in told["channels"]
        for alarm in each["alarms"]
    ]
    heads = ["channel", "alarm", "set at", "comes after", "in time", "could miss a loss of"]
    lines.append(table(heads, rows, width=terminal_width()))
    lines += [f"{each['channel']}: {text}." for each in told["channels"] for text in each["label"]]
    lines += [text for each in told["channels"] for text in each["problems"]]
    return [*lines, CAUTION]
