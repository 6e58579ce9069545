"""Every sort of fault in plain words: what is wrong, and what to write instead."""

import copy
from typing import Any

import pytest

from pitbird.fleet.kinds import KINDS, base
from pitbird.intake import words
from pitbird.intake.entries import read_body

TIME = "write UTC as YYYY-MM-DDTHH:MM:SS.mmmZ, such as 2026-03-02T06:41:00.000Z"
DECIMAL = 'write digits with a point, such as "20.9": no unit, no exponent, at most six decimals'
HEX = "0195a000-0000-7000-8000-000000000001"


@pytest.mark.parametrize(
    ("kind", "field", "value", "fault"),
    [
        ("note", "at", "2026-03-02T06:41:00Z", f"= '2026-03-02T06:41:00Z': not a time; {TIME}"),
        ("note", "at", "2026-02-30T06:41:00.000Z",
         f"= '2026-02-30T06:41:00.000Z': no such time (day is out of range for month); {TIME}"),
        ("note", "at", 1772433660, '= 1772433660: a bare number; write "1772433660" as a string'),
        ("note", "zone", "Lisbon", "= 'Lisbon': not a time zone; use an IANA name such as Europe/Lisbon"),
        ("note", "zone", "localtime",
         "= 'localtime': not a time zone; use an IANA name such as Europe/Lisbon"),
        ("note", "id", HEX.upper(), (f"= '{HEX.upper()}': not an entry's id; write a UUID of version 7 in "
         f"lower case, such as {HEX}")),
        ("note", "by", "Ana", ("= 'Ana': not a reference to a person; write person: and its code, "
         "such as person:P-07")),
        ("note", "by", "person:Zoë 1", ("= 'person:Zoë 1': not a code; write up to 64 letters, digits, "
         "points, dashes or underscores, a letter or digit first, such as person:P-07")),
        ("note", "by", "person:", ("= 'person:': not a code; write up to 64 letters, digits, points, "
         "dashes or underscores, a letter or digit first, such as person:P-07")),
        ("note", "subject", "D-017", ("= 'D-017': not a reference to a thing; write its sort, a colon and "
         "its code, such as detector:D-017")),
        ("note", "by", None, "= null: must not be null; leave the field out if there is nothing to say"),
        ("note", "by", {}, "= {}: must be text"),
        ("note", "v", 2, "= 2: not one of the words allowed; write 1"),
        ("note", "text", "the pump of Ana Reis is noisy",
         ": must be the commitment to a text kept apart: sha256: and 64 hexadecimal digits"),
        ("gauge-read", "gauge_bar", 41, '= 41: a bare number; write "41" as a string'),
        ("gauge-read", "gauge_bar", 20.9, '= 20.9: a bare number; write "20.9" as a string'),
        ("gauge-read", "gauge_bar", "20,9", "= '20,9': not a decimal; write \"20.9\" with a point"),
        ("gauge-read", "gauge_bar", "41 bar", f"= '41 bar': not a decimal; {DECIMAL}"),
        ("gauge-read", "gauge_bar", "4.1e1", f"= '4.1e1': not a decimal; {DECIMAL}"),
        ("gauge-read", "gauge_bar", "041", f"= '041': not a decimal; {DECIMAL}"),
        ("gauge-read", "gauge_bar", "4\u0661", f"= '4\u0661': not a decimal; {DECIMAL}"),
        ("cylinder", "expires", "06/10/2027", "= '06/10/2027': not a date; write it as YYYY-MM-DD"),
        ("cylinder", "expires", "2027-02-29", "= '2027-02-29': not a date; write it as YYYY-MM-DD"),
        ("cylinder", "components", [], "= []: too few; at least 1"),
        ("cylinder", "components", "methane", "= 'methane': must be a list: [ … ]"),
        ("cylinder", "balance", " ", "= ' ': must not be empty"),
        ("cylinder", "lot", "L" * 121, f"= '{'L' * 40}…': too long; at most 120 signs"),
        ("site", "change_overs", ["4:00"], ("[0] = '4:00': not a time of day; write it as HH:MM, from 00:00 "
         "to 23:59")),
        ("site", "change_overs", [f"0{hour}:00" for hour in range(7)], "= […]: too many; at most 6"),
        ("handed-out", "from_store", "yes", "= 'yes': must be true or false"),
        ("rules-adopted", "document", [], "= []: must be an object with named fields: { … }"),
        ("bump-test", "checks", [], "= []: must be an object with named fields: { … }"),
        ("bump-test", "outcome", "pass", ("= 'pass': not one of the words allowed; write passed, failed or "
         "spoiled; did you mean passed?")),
        ("bump-test", "outcome", None, ("= null: must not be null; leave it out, or write passed, failed or "
         "spoiled")),
        ("happened", "channels", ["<H2S>"], ("[0] = '<H2S>': not the name of a channel; write up to 32 "
         "letters, digits, spaces, points, dashes or underscores, a letter or digit first")),
    ],
)  # fmt: skip
def test_a_fault_is_said_in_plain_words(kind: str, field: str, value: object, fault: str) -> None:
    body, faults = read_body({**KINDS[kind].EXAMPLE, field: value})
    assert body is None
    shape = fault if fault[0] in ":[" else f" {fault}"
    assert [str(each) for each in faults] == [f"{kind}.{field}{shape}"]


@pytest.mark.parametrize(
    ("spoken", "ours"),
    [
        ("%LEL", "pct_lfl"), ("% LFL", "pct_lfl"), ("%vol", "vol_pct"), ("Vol.-%", None), ("µmol/mol", "ppm"),
        ("PPM", "ppm"),
    ],
)  # fmt: skip
def test_a_spoken_unit_is_answered_with_ours(spoken: str, ours: str | None) -> None:
    raw = copy.deepcopy(KINDS["detector"].EXAMPLE)
    raw["channels"][0]["unit"] = spoken
    _, [fault] = read_body(raw)
    assert fault.problem.startswith("not a unit that is known here; write ppm, vol_pct or pct_lfl")
    assert fault.problem.endswith(f"did you mean {ours}?") == (ours is not None)


@pytest.mark.parametrize(
    ("part", "wrong", "right"),
    [
        ((), "tempreature_c", "temperature_c"),
        (("checks",), "inlets_claer", "inlets_clear"),
        (("applications", 0), "gas-on", "gas_on"),
        (("applications", 0, "channels", 0), "after", "after_s"),
    ],
)
def test_an_unknown_field_is_answered_with_near_names_of_its_own_part(
    part: tuple[Any, ...], wrong: str, right: str
) -> None:
    raw = copy.deepcopy(KINDS["bump-test"].EXAMPLE)
    holder: Any = raw
    for step in part:
        holder = holder[step]
    holder[wrong] = "x"
    _, [fault] = read_body(raw)
    assert fault.problem.startswith("no such field; did you mean ")
    assert right in fault.problem


def test_a_wrong_item_of_a_list_is_not_also_called_too_few() -> None:
    _, faults = read_body({**KINDS["detector"].EXAMPLE, "channels": ["H2S"]})
    assert [str(fault) for fault in faults] == [
        "detector.channels[0] = 'H2S': must be an object with named fields: { … }"
    ]


def test_what_the_fields_say_together_is_said_of_the_part_that_says_it() -> None:
    raw = copy.deepcopy(KINDS["detector"].EXAMPLE)
    raw["channels"][0]["unit"] = "pct_lfl"
    _, [fault] = read_body(raw)
    assert str(fault) == (
        "detector.channels[0]: a channel in %LFL must name its 'lfl_basis': iec-60079-20-1 or nfpa-497"
    )


def test_a_text_that_should_have_been_sealed_is_not_repeated() -> None:
    _, [fault] = read_body({**KINDS["person"].EXAMPLE, "name": "Ana Reis"})
    assert "Ana" not in str(fault)


def patterns(schema: Any) -> set[str]:
    if isinstance(schema, dict):
        own = {schema["pattern"]} if isinstance(schema.get("pattern"), str) else set()
        return own.union(*map(patterns, schema.values()))
    return set().union(*map(patterns, schema)) if isinstance(schema, list) else set()


def test_every_pattern_of_every_kind_has_words_of_its_own() -> None:
    used = set().union(*(patterns(kind.model_json_schema()) for kind in KINDS.values()))
    assert base.DECIMAL in used
    vague = words._not_of_the_form("^anything$", "x")
    assert [pattern for pattern in used if words._not_of_the_form(pattern, "x") == vague] == []
