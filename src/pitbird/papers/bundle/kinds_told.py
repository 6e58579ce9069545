"""What an entry of each kind says in the tables of a bundle."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from pitbird.fleet.times import ms_of
from pitbird.papers.bundle.csv_form import Cell

Body = Mapping[str, Any]
Row = dict[str, Cell]
#: Gives the text behind a commitment, "" for none.
Opened = Callable[[str | None], str]
Names = Mapping[str, str]
#: Rows, each with the table in which it stands.
Told = Iterator[tuple[str, Row]]
Teller = Callable[[Body, Opened, Names], Told]


def codes(subjects: Iterable[str]) -> str:
    """The codes of several things in one cell, none twice."""
    return "; ".join(dict.fromkeys(code(each) for each in subjects))


def joined(subjects: Sequence[str]) -> str:
    """Several subjects in one cell."""
    return "; ".join(subjects)


def code(subject: str | None) -> str:
    """``D-017`` for ``detector:D-017``, "" for none."""
    return (subject or "").partition(":")[2]


def _bump(body: Body, text: Opened, names: Names) -> Told:
    given = body.get("applications", ())
    shown = [channel for application in given for channel in application.get("channels", ())]
    seconds = sum(ms_of(each["gas_off"]) - ms_of(each["gas_on"]) for each in given)
    signals, cleared = body.get("signals", {}), body.get("cleared", {})
    row: Row = {
        "detector": code(body["detector"]),
        "outcome_as_written": body["outcome"],
        "footing": body.get("footing", "shown"),
        "spoiled_because": body.get("spoiled_because"),
        "channels_not_reached": "; ".join(each["channel"] for each in shown if each["reached"] != "yes"),
        "channels": "; ".join(map(_shown, shown)),
        "cylinders": codes([each["cylinder"] for each in given]),
        "regulators": codes([each["regulator"] for each in given if "regulator" in each]),
        "gauge_bar": "; ".join(each["gauge_bar"] for each in given if "gauge_bar" in each),
        "gas_on_utc": given[0]["gas_on"] if given else None,
        "gas_on_s": seconds // 1000 if given else None,
        "sound": signals.get("sound"),
        "light": signals.get("light"),
        "vibration": signals.get("vibration"),
        "checks_answered_no": "; ".join(
            name for name, answer in sorted(body.get("checks", {}).items()) if answer == "no"
        ),
        "clean_air": "; ".join(map(_in_clean_air, body.get("clean_air", ()))),
        "readings_back": cleared.get("readings"),
        "peaks_cleared": cleared.get("peaks"),
        "temperature_c": body.get("temperature_c"),
        "slip": body.get("slip", {}).get("number"),
        "slip_entered_by": code(body.get("slip", {}).get("entered_by")),
    }
    yield "tests", row
    if body["outcome"] == "spoiled":
        yield "spoiled", row


def _shown(channel: Mapping[str, Any]) -> str:
    said = "reached" if channel["reached"] == "yes" else "NOT reached"
    after = f" after {channel['after_s']} s" if "after_s" in channel else ""
    peak = f", peak {channel['peak']}" if "peak" in channel else ""
    return f"{channel['channel']} {said}{after}{peak}"


def _in_clean_air(channel: Mapping[str, Any]) -> str:
    reading = f" {channel['reading']}" if "reading" in channel else ""
    return f"{channel['channel']}{reading} {'right' if channel['right'] == 'yes' else 'WRONG'}"


def _calibration(body: Body, text: Opened, names: Names) -> Told:
    for channel in body["channels"]:
        yield (
            "calibrations",
            {
                "detector": code(body["detector"]),
                "result": body["result"],
                "channel": channel["channel"],
                "applied": channel["applied"],
                "as_found": channel.get("as_found"),
                "as_left": channel.get("as_left"),
                "adjusted": channel.get("adjusted"),
                "channel_result": channel["result"],
                "tolerance_pct": body.get("tolerance_pct"),
                "cylinders": codes(body.get("cylinders", ())),
                "zeroed": body.get("zeroed"),
                "certificate": body.get("certificate"),
            },
        )


def _handed(body: Body, text: Opened, names: Names) -> Told:
    out = body["kind"] == "handed-out"
    person = body.get("to" if out else "back_from")
    yield (
        "hand-outs",
        {
            "detector": code(body["detector"]),
            "what": "handed out" if out else "handed back",
            "person": code(person),
            "person_name": names.get(person or "", ""),
            "from_store": _yes(body.get("from_store")),
            "permit": body.get("permit"),
            "due_back_utc": body.get("due_back"),
            "to_site": code(body.get("to_site")),
        },
    )


def _yes(value: bool | None) -> str:
    return "" if value is None else "yes" if value else "no"


def _untested(body: Body, text: Opened, names: Names) -> Told:
    yield (
        "untested",
        {
            "detector": code(body["detector"]),
            "to": code(body["to"]),
            "to_name": names.get(body["to"], ""),
            "authority": code(body["authority"]),
            "authority_name": names.get(body["authority"], ""),
            "until_utc": body["until"],
            "reason": text(body["reason"]),
        },
    )


#: What an event says of itself, in the order in which a reader wants it.
_SAYS: Final = (
    "what",
    "because",
    "outcome",
    "cause",
    "air",
    "channel",
    "alarm",
    "peak",
    "assessed_by",
    "done",
)


def _event(body: Body, text: Opened, names: Names) -> Told:
    said = [text(body[key]) if key == "done" else str(body[key]) for key in _SAYS if key in body]
    yield (
        "events",
        {
            "about": joined(body["about"]),
            "kind": body["kind"],
            "what": ", ".join(said),
            "channels": "; ".join(body.get("channels", body.get("replaced", ()))),
            "answers": "; ".join(body.get("answers", [body["failed"]] if "failed" in body else [])),
        },
    )


def _training(body: Body, text: Opened, names: Names) -> Told:
    yield (
        "trainings",
        {
            "person": code(body["person"]),
            "person_name": names.get(body["person"], ""),
            "topic": body["topic"],
            "result": body.get("result", "passed"),
            "trainer": code(body.get("trainer")),
            "valid_until": body.get("valid_until"),
        },
    )


def _cylinder(body: Body, text: Opened, names: Names) -> Told:
    same = ("lot", "certificate", "traceable_to", "balance", "made", "expires", "free_gas_l",
            "full_pressure_bar", "minimum_pressure_bar", "minimum_temperature_c")  # fmt: skip
    of_gas = ("gas", "amount", "unit", "expanded_uncertainty_pct", "label_pct_lfl", "label_lfl_vol_pct")
    for gas in body["components"]:
        yield (
            "cylinders",
            {
                "cylinder": code(body["cylinder"]),
                **{key: body.get(key) for key in same},
                **{key: gas.get(key) for key in of_gas},
            },
        )


def _regulator(body: Body, text: Opened, names: Names) -> Told:
    own = ("flow", "flow_l_min", "serial", "hose_m", "hose_s_per_m")
    yield "regulators", {"regulator": code(body["regulator"]), **{key: body.get(key) for key in own}}


def _gas_used(body: Body, text: Opened, names: Names) -> Told:
    yield (
        "gas-used",
        {
            "cylinder": code(body["cylinder"]),
            "kind": body["kind"],
            "gauge_bar": body.get("gauge_bar"),
            "regulator": code(body.get("regulator")),
            "at_site": code(body.get("at_site")),
            "because": body.get("because"),
            "answers": "; ".join(body.get("answers", ())),
        },
    )


def _detector(body: Body, text: Opened, names: Names) -> Told:
    own = ("make", "model", "serial", "firmware", "draws", "pump_l_min")
    of_channel = ("gas", "principle", "unit", "lfl_basis", "range_high", "sensor_serial", "sensor_ends")
    for channel in body["channels"]:
        yield (
            "detectors",
            {
                "detector": code(body["detector"]),
                **{key: body.get(key) for key in own},
                "home": code(body.get("home")),
                "channel": channel["name"],
                **{key: channel.get(key) for key in of_channel},
                "alarms": "; ".join(map(_alarm, channel["alarms"])),
            },
        )


def _alarm(alarm: Mapping[str, Any]) -> str:
    by = {"gas": "shown by gas", "self-check": "shown by the self-check", "none": "shown by no test"}
    way = alarm.get("direction", "rising")
    return f"{alarm['name']} {alarm['at']} {way}, {by[alarm.get('shown_by', 'gas')]}"


def _person(body: Body, text: Opened, names: Names) -> Told:
    yield (
        "people",
        {
            "person": code(body["person"]),
            "person_name": text(body.get("name")),
            "roles": "; ".join(body.get("roles", ())),
            "home": code(body.get("home")),
            "left": body.get("left"),
        },
    )


def other(body: Body, text: Opened, names: Names) -> Told:
    """An entry of a kind that has no table of its own, or that is not known."""
    said = text(body["text"]) if body["kind"] == "note" else ""
    yield (
        "other",
        {
            "kind": body["kind"],
            "about": joined(body["about"]),
            "text": said or body.get("title") or body.get("because") or body.get("name"),
        },
    )


TELLERS: Final[Mapping[str, Teller]] = {
    "bump-test": _bump,
    "calibration": _calibration,
    "issued-untested": _untested,
    "training": _training,
    "cylinder": _cylinder,
    "regulator": _regulator,
    "detector": _detector,
    "person": _person,
    **dict.fromkeys(("handed-out", "handed-back"), _handed),
    **dict.fromkeys(("happened", "out-of-service", "repaired", "returned-to-service", "fresh-air-set",
                     "alarm-in-use", "look-back"), _event),
    **dict.fromkeys(("cylinder-received", "cylinder-opened", "gauge-read", "cylinder-emptied",
                     "cylinder-quarantined", "cylinder-released"), _gas_used),
}  # fmt: skip
