"""The kinds of entry: their examples, what each refuses, their schemas, and the page that explains them."""

import copy
import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from pitbird.fleet import kinds
from pitbird.fleet.kinds import ALL, KINDS
from pitbird.fleet.kinds.base import KIND_NAME, SUBJECT, Body
from pitbird.intake.tables import COLUMNS
from pitbird.record.canonical import canonical, parse

EVERY_KIND = pytest.mark.parametrize("kind", sorted(KINDS))


def changed(kind: str, *path: str | int, to: Any) -> dict[str, Any]:
    """The example of a kind with the value at a path replaced."""
    raw = copy.deepcopy(KINDS[kind].EXAMPLE)
    holder: Any = raw
    for step in path[:-1]:
        holder = holder[step]
    holder[path[-1]] = to
    return raw


def errors(kind: str, raw: dict[str, Any]) -> str:
    with pytest.raises(ValidationError) as refused:
        KINDS[kind].model_validate(raw)
    return str(refused.value)


# --- Examples -----------------------------------------------------------------------------------------------


def test_every_kind_has_a_name_of_its_own() -> None:
    assert len(KINDS) == len(ALL)
    assert [name for name in KINDS if not KIND_NAME.fullmatch(name)] == []


@EVERY_KIND
def test_an_example_is_an_entry_and_survives_the_way_through_the_book(kind: str) -> None:
    body = KINDS[kind].model_validate(KINDS[kind].EXAMPLE)
    stored = canonical(body.as_body())
    assert KINDS[kind].model_validate(parse(stored)) == body
    assert canonical(KINDS[kind].model_validate(parse(stored)).as_body()) == stored


def keeps(given: Any, kept: Any) -> bool:
    """Whether everything given is still there, at every depth."""
    if isinstance(given, dict):
        return all(key in kept and keeps(value, kept[key]) for key, value in given.items())
    if isinstance(given, list):
        return len(given) == len(kept) and all(map(keeps, given, kept))
    return bool(given == kept)


@EVERY_KIND
def test_an_entry_keeps_everything_its_example_gives(kind: str) -> None:
    assert keeps(KINDS[kind].EXAMPLE, KINDS[kind].model_validate(KINDS[kind].EXAMPLE).as_body())


def test_examples_bear_distinct_ids() -> None:
    assert len({kind.EXAMPLE["id"] for kind in ALL}) == len(ALL)


@EVERY_KIND
def test_an_unknown_field_is_refused(kind: str) -> None:
    assert "Extra inputs are not permitted" in errors(kind, changed(kind, "colour", to="red"))


def test_an_unknown_field_of_a_part_is_refused() -> None:
    raw = changed("bump-test", "applications", 0, "colour", to="red")
    assert "Extra inputs are not permitted" in errors("bump-test", raw)


@EVERY_KIND
def test_every_field_without_a_default_must_be_given(kind: str) -> None:
    for name, field in KINDS[kind].model_fields.items():
        if field.is_required():
            raw = {key: value for key, value in KINDS[kind].EXAMPLE.items() if key != name}
            assert re.search(rf"^{name}\n  Field required", errors(kind, raw), re.MULTILINE)


@EVERY_KIND
def test_an_entry_cannot_be_changed_once_made(kind: str) -> None:
    body = KINDS[kind].model_validate(KINDS[kind].EXAMPLE)
    with pytest.raises(ValidationError, match="Instance is frozen"):
        setattr(body, "by", "person:P-99")  # noqa: B010


@EVERY_KIND
def test_the_fields_named_as_sealed_are_fields_that_hold_commitments(kind: str) -> None:
    for field in KINDS[kind].SEALED:
        assert "sha256:" in str(KINDS[kind].model_json_schema()["properties"][field])
        assert "String should match pattern" in errors(kind, changed(kind, field, to="a plain text"))


# --- About --------------------------------------------------------------------------------------------------

ABOUT = {
    "genesis": ("book:0195a000-0000-7000-8000-00000000001d",),
    "epoch": ("book:0195a000-0000-7000-8000-00000000001d",),
    "key-changed": ("book:0195a000-0000-7000-8000-00000000001d",),
    "audit-opened": ("book:0195a000-0000-7000-8000-00000000001d",),
    "audit-closed": ("book:0195a000-0000-7000-8000-00000000001d",),
    "device": ("device:PH-01",),
    "device-ended": ("device:PH-01",),
    "site": ("site:north-works",),
    "person": ("person:P-07",),
    "detector": ("detector:D-017",),
    "sensor": ("sensor:S-5521", "detector:D-017"),
    "regulator": ("regulator:R-03",),
    "cylinder": ("cylinder:C-112",),
    "handed-out": ("detector:D-017", "person:P-12"),
    "handed-back": ("detector:D-017", "person:P-12"),
    "bump-test": ("detector:D-017", "cylinder:C-112"),
    "fresh-air-set": ("detector:D-017",),
    "calibration": ("detector:D-017", "cylinder:C-112"),
    "happened": ("detector:D-017",),
    "out-of-service": ("detector:D-017",),
    "repaired": ("detector:D-017",),
    "returned-to-service": ("detector:D-017",),
    "issued-untested": ("detector:D-017", "person:P-12", "person:P-01"),
    "alarm-in-use": ("detector:D-017",),
    "cylinder-received": ("cylinder:C-112",),
    "cylinder-opened": ("cylinder:C-112",),
    "gauge-read": ("cylinder:C-112",),
    "cylinder-emptied": ("cylinder:C-112",),
    "cylinder-quarantined": ("cylinder:C-112",),
    "cylinder-released": ("cylinder:C-112",),
    "training": ("person:P-07",),
    "look-back": ("detector:D-017",),
    "rules-adopted": ("rules:strict", "site:north-works"),
    "note": ("detector:D-017",),
    "correction": ("detector:D-017",),
    "erasure": ("person:P-07",),
}


@EVERY_KIND
def test_what_an_entry_is_about_is_worked_out_from_its_fields(kind: str) -> None:
    assert KINDS[kind].model_validate(KINDS[kind].EXAMPLE).about == ABOUT[kind]


@EVERY_KIND
def test_a_wrong_about_is_refused_and_the_right_one_taken(kind: str) -> None:
    assert "leave it out" in errors(kind, changed(kind, "about", to=["detector:D-999"]))
    assert KINDS[kind].model_validate(changed(kind, "about", to=list(ABOUT[kind]))).about == ABOUT[kind]


def test_a_cylinder_used_twice_is_named_once() -> None:
    application = KINDS["bump-test"].EXAMPLE["applications"][0]
    body = KINDS["bump-test"].model_validate(
        changed("bump-test", "applications", to=[application, application])
    )
    assert body.about == ("detector:D-017", "cylinder:C-112")


def test_a_correction_that_moves_an_entry_is_about_both_places() -> None:
    raw = {
        **KINDS["correction"].EXAMPLE,
        "how": "replace",
        "replacement": {"about": ["detector:D-018", "detector:D-017"]},
    }
    assert KINDS["correction"].model_validate(raw).about == ("detector:D-017", "detector:D-018")


@pytest.mark.parametrize("about", [5, "detector:D-017", [1, {}], [[]], ["no subject"], {"a": 1}, None])
def test_a_replacement_about_something_that_is_no_subject_is_refused(about: object) -> None:
    raw = {**KINDS["correction"].EXAMPLE, "how": "replace", "replacement": {"about": about}}
    assert "'replacement.about' must be a list of subjects" in errors("correction", raw)


def worked(**other: str) -> dict[str, str]:
    return {"gas": "carbon monoxide", "amount": "100", "unit": "ppm", "reads": "2", **other}


def test_what_a_channel_reads_in_another_gas_is_kept_as_a_worked_reading() -> None:
    raw = changed(
        "detector", "channels", 0, "other_gases", to=[worked(), worked(gas="chlorine", reads="-20")]
    )
    channel = KINDS["detector"].model_validate(raw).as_body()["channels"][0]
    assert [each["reads"] for each in channel["other_gases"]] == ["2", "-20"]
    assert (
        "other_gases"
        not in KINDS["detector"].model_validate(KINDS["detector"].EXAMPLE).as_body()["channels"][0]
    )


# --- What each kind refuses ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "raw", "fault"),
    [
        ("detector", changed("detector", "channels", 0, "unit", to="pct_lfl"), "must name its 'lfl_basis'"),
        ("detector", changed("detector", "channels", 0, "other_gases", to=[worked(amount="0")]), "above 0"),
        (
            "detector", changed("detector", "channels", 0, "other_gases", to=[worked(unit="pct_lfl")]),
            "belongs to a channel in %LFL",
        ),
        (
            "detector", changed("detector", "channels", 0, "other_gases", to=[worked(), worked(reads="9")]),
            "two worked readings of one gas",
        ),
        ("detector", changed("detector", "channels", 0, "alarms", to=[{"name": "low", "at": "5"}] * 2),
         "two alarms of one channel bear the same name"),
        ("detector", changed("detector", "channels", to=KINDS["detector"].EXAMPLE["channels"] * 2),
         "two channels bear the same name"),
        ("regulator", changed("regulator", "flow_l_min", to=None), "must say its 'flow_l_min'"),
        ("cylinder", changed("cylinder", "components", to=KINDS["cylinder"].EXAMPLE["components"][:1] * 2),
         "a gas stands twice"),
        ("bump-test", changed("bump-test", "applications", 0, "gas_off", to="2026-03-02T06:40:09.999Z"),
         "'gas_off' lies before 'gas_on'"),
        ("bump-test", changed("bump-test", "outcome", to="spoiled"), "a spoiled test says why"),
        ("bump-test", changed("bump-test", "spoiled_because", to="other"), "only with outcome spoiled"),
        ("bump-test", changed("bump-test", "applications", to=[]), "no gas, no yes"),
        ("calibration", changed("calibration", "channels", 0, "result", to="outside"), "has not passed"),
        ("correction", changed("correction", "how", to="replace"), "'replacement' stands with how=replace"),
        ("correction", changed("correction", "replacement", to={"about": []}), "stands with how=replace"),
    ],
)  # fmt: skip
def test_fields_that_contradict_each_other_are_refused(kind: str, raw: dict[str, Any], fault: str) -> None:
    assert fault in errors(kind, raw)


@pytest.mark.parametrize(
    ("kind", "path", "value"),
    [
        ("gauge-read", ("gauge_bar",), 41),
        ("gauge-read", ("gauge_bar",), 41.0),
        ("gauge-read", ("gauge_bar",), "41,0"),
        ("gauge-read", ("gauge_bar",), "+41"),
        ("gauge-read", ("gauge_bar",), "041"),
        ("gauge-read", ("gauge_bar",), ".5"),
        ("gauge-read", ("gauge_bar",), "41."),
        ("gauge-read", ("gauge_bar",), "1e3"),
        ("gauge-read", ("gauge_bar",), "41\n"),
        ("gauge-read", ("gauge_bar",), "4\u0661"),
        ("gauge-read", ("gauge_bar",), "1234567890"),
        ("gauge-read", ("gauge_bar",), "0.1234567"),
        ("gauge-read", ("at",), "2026-03-02T06:41:00Z"),
        ("gauge-read", ("at",), "2026-03-02T06:41:00.000+00:00"),
        ("gauge-read", ("at",), "2026-02-29T06:41:00.000Z"),
        ("gauge-read", ("at",), "2026-03-02T24:00:00.000Z"),
        ("gauge-read", ("at",), "2026-03-02T06:41:60.000Z"),
        ("gauge-read", ("at",), "2026-03-0\u0662T06:41:00.000Z"),
        ("cylinder-quarantined", ("since",), "2026-99-99T99:99:99.999Z"),
        ("rules-adopted", ("effective",), "2026-02-30T00:00:00.000Z"),
        ("handed-out", ("due_back",), "2026-03-02T25:00:00.000Z"),
        ("cylinder", ("expires",), "2027-02-29"),
        ("cylinder", ("expires",), "20271006"),
        ("site", ("change_overs", 0), "24:00"),
        ("site", ("change_overs", 0), "4:00"),
        ("site", ("site_zone",), "Lisbon"),
        ("site", ("site_zone",), "europe/lisbon"),
        ("site", ("site_zone",), "../../etc/passwd"),
        ("site", ("site_zone",), "localtime"),
        ("site", ("site_zone",), "right/Europe/Lisbon"),
        ("site", ("name",), "   "),
        ("handed-out", ("from_store",), "yes"),
        ("handed-out", ("from_store",), 1),
        ("detector", ("calibrated_by_maker_only",), "false"),
        ("detector", ("signals", 0), "smell"),
        ("detector", ("id",), "0195A000-0000-7000-8000-000000000003"),
        ("detector", ("id",), "0195a000-0000-4000-8000-000000000003"),
        ("detector", ("id",), "0195a000-0000-7000-c000-000000000003"),
        ("detector", ("v",), 2),
        ("alarm-in-use", ("peak",), "a lot"),
        ("person", ("name",), "Ana Reis"),
        ("person", ("name",), "sha256:" + "5E" * 32),
    ],
)  # fmt: skip
def test_a_value_of_the_wrong_form_is_refused(kind: str, path: tuple[str | int, ...], value: object) -> None:
    assert f"{path[0]}" in errors(kind, changed(kind, *path, to=value))


@given(
    text=st.decimals(min_value=-999999999, max_value=999999999, places=6).map(lambda number: f"{number:f}")
)
def test_a_decimal_of_the_books_size_is_kept_digit_for_digit(text: str) -> None:
    body = KINDS["gauge-read"].model_validate(changed("gauge-read", "gauge_bar", to=text))
    assert body.as_body()["gauge_bar"] == text


@pytest.mark.parametrize("outcome", ["passed", "failed"])
def test_a_bare_pass_or_fail_from_elsewhere_needs_no_gas(outcome: str) -> None:
    raw = {**changed("bump-test", "applications", to=[]), "footing": "reported", "outcome": outcome}
    assert KINDS["bump-test"].model_validate(raw).as_body()["outcome"] == outcome


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"of": ["detector:D-017", "detector:D-018"]}, "one detector or one person"),
        ({"of": ["detector:D-017", "cylinder:C-112"]}, "things of one sort"),
        ({"of": ["site:north-works"]}, "a detector, cylinders or a person"),
        ({"of": []}, "at least 1 item"),
        ({"failed": None}, "failed test or calibration of a detector"),
        ({"of": ["cylinder:C-112"]}, "failed test or calibration of a detector"),
        ({"outcome": "safe"}, "no-work-affected"),
        (
            {"of": ["person:P-07"], "failed": None, "looked_from": "2026-03-02T06:00:00.000Z",
             "looked_to": "2026-03-01T06:00:00.000Z"},
            "lies before",
        ),
    ],
)  # fmt: skip
def test_a_look_back_is_of_one_failure_some_cylinders_or_one_person(
    fields: dict[str, Any], words: str
) -> None:
    raw = {**KINDS["look-back"].EXAMPLE, **fields}
    assert words in errors("look-back", {name: part for name, part in raw.items() if part is not None})


def test_a_look_back_is_about_every_cylinder_of_a_lot() -> None:
    raw = {**KINDS["look-back"].EXAMPLE, "of": ["cylinder:C-112", "cylinder:C-113"]}
    del raw["failed"]
    assert KINDS["look-back"].model_validate(raw).about == ("cylinder:C-112", "cylinder:C-113")


# --- Subjects -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "subject",
    ["detector:D-017", "sensor:S_1", "cylinder:a.b", "regulator:3", "person:P-07", "site:n", "rules:strict",
     "book:b", "detector:" + "x" * 64],
)  # fmt: skip
def test_a_sort_and_a_code_are_a_subject(subject: str) -> None:
    assert re.search(SUBJECT, subject)
    assert KINDS["note"].model_validate(changed("note", "subject", to=subject)).about == (subject,)


@pytest.mark.parametrize(
    "subject",
    ["", "detector", "detector:", "detector:-1", "detector:.x", "detector:a b", "detector:a\n", "Detector:a",
     "detector:é", "detector:a:b", "pump:1", "xdetector:a", "detector:" + "x" * 65],
)  # fmt: skip
def test_anything_else_is_no_subject(subject: str) -> None:
    assert "subject" in errors("note", changed("note", "subject", to=subject))


@pytest.mark.parametrize(
    ("kind", "field", "other"),
    [
        ("happened", "detector", "cylinder:C-112"),
        ("gauge-read", "cylinder", "detector:D-017"),
        ("training", "person", "site:north-works"),
        ("handed-out", "to", "site:north-works"),
        ("site", "site", "person:P-07"),
        ("regulator", "regulator", "cylinder:C-112"),
        ("sensor", "sensor", "detector:D-017"),
        ("rules-adopted", "rules", "site:north-works"),
        ("genesis", "book", "site:north-works"),
    ],
)
def test_a_reference_is_to_a_thing_of_its_own_sort(kind: str, field: str, other: str) -> None:
    assert "String should match pattern" in errors(kind, changed(kind, field, to=other))


# --- JSON Schemas -------------------------------------------------------------------------------------------


def conforms(value: Any, schema: dict[str, Any], whole: dict[str, Any]) -> bool:
    """Whether a value conforms to the part of JSON Schema (2020-12) that the kinds use."""
    if "$ref" in schema:
        return conforms(value, whole["$defs"][schema["$ref"].removeprefix("#/$defs/")], whole)
    if "anyOf" in schema:
        return any(conforms(value, option, whole) for option in schema["anyOf"])
    if "const" in schema and value != schema["const"]:
        return False
    if "enum" in schema and value not in schema["enum"]:
        return False
    kind = schema.get("type")
    if kind == "string":
        return (
            isinstance(value, str)
            and re.search(schema.get("pattern", ""), value) is not None
            and schema.get("minLength", 0) <= len(value) <= schema.get("maxLength", len(value))
        )
    if kind == "array":
        return (
            isinstance(value, list)
            and schema.get("minItems", 0) <= len(value) <= schema.get("maxItems", len(value))
            and all(conforms(item, schema["items"], whole) for item in value)
        )
    if kind == "object":
        fields = schema.get("properties", {})
        return (
            isinstance(value, dict)
            and set(schema.get("required", ())) <= set(value)
            and (schema.get("additionalProperties") is True or set(value) <= set(fields))
            and all(conforms(item, fields[key], whole) for key, item in value.items() if key in fields)
        )
    return {"boolean": bool, "integer": int, "null": type(None)}[kind or ""] is type(value)


@EVERY_KIND
def test_the_schema_of_a_kind_takes_its_example_and_the_entry_made_of_it(kind: str) -> None:
    schema = kinds.schema(kind)
    assert schema["examples"] == [KINDS[kind].EXAMPLE]
    assert conforms(KINDS[kind].EXAMPLE, schema, schema)
    assert conforms(KINDS[kind].model_validate(KINDS[kind].EXAMPLE).as_body(), schema, schema)


@EVERY_KIND
def test_the_schema_of_a_kind_refuses_unknown_fields_and_lost_ones(kind: str) -> None:
    schema = kinds.schema(kind)
    assert not conforms(changed(kind, "colour", to="red"), schema, schema)
    for field in schema["required"]:
        raw = {key: value for key, value in KINDS[kind].EXAMPLE.items() if key != field}
        assert not conforms(raw, schema, schema)


def test_the_schemas_of_all_kinds_are_plain_json_with_forms_that_mean_the_same_everywhere() -> None:
    """ECMA-262, which JSON Schema follows for patterns, takes \\d for ASCII digits alone; others do not."""
    schemas = kinds.schemas()
    assert list(schemas) == list(KINDS)
    assert json.loads(json.dumps(schemas)) == schemas
    assert "\\\\d" not in json.dumps(schemas)
    assert "\\\\w" not in json.dumps(schemas)


# --- What reaches the detector, and what the label says -----------------------------------------------------


def like(kind: str, **changes: Any) -> dict[str, Any]:
    """The kind's example with changes; None takes a field out."""
    merged = {**copy.deepcopy(KINDS[kind].EXAMPLE), **changes}
    return {name: value for name, value in merged.items() if value is not None}


def test_a_pump_draws_only_in_a_detector_that_has_one() -> None:
    KINDS["detector"].model_validate(like("detector", pump_l_min="0.5"))
    with pytest.raises(ValidationError, match="belongs to a detector that 'draws' by pump"):
        KINDS["detector"].model_validate(like("detector", draws="diffusion", pump_l_min="0.5"))
    with pytest.raises(ValidationError, match="'pump_l_min', is above 0"):
        KINDS["detector"].model_validate(like("detector", pump_l_min="0"))


def test_a_hose_has_a_length_and_its_time_belongs_to_it() -> None:
    KINDS["regulator"].model_validate(like("regulator", hose_m="1.5", hose_s_per_m="2"))
    for changes, told in (
        ({"hose_m": "-1"}, "'hose_m', is 0 or more"),
        ({"hose_s_per_m": "2"}, "say its length too"),
        ({"hose_m": "1", "hose_s_per_m": "0"}, "'hose_s_per_m', is above 0"),
    ):
        with pytest.raises(ValidationError, match=told):
            KINDS["regulator"].model_validate(like("regulator", **changes))


@pytest.mark.parametrize(
    ("label", "told"),
    [
        ({"label_pct_lfl": "50", "label_lfl_vol_pct": "4.4"}, ""),
        ({"label_pct_lfl": "50"}, ""),
        ({"label_lfl_vol_pct": "5.0"}, ""),
        (
            {"label_pct_lfl": "50", "label_lfl_vol_pct": "5.0"},
            "is 44 %LFL where 5.0 % vol is 100 %LFL, not 50",
        ),
        ({"label_pct_lfl": "0"}, "'label_pct_lfl' is above 0"),
    ],
)
def test_a_label_that_contradicts_itself_is_refused(label: dict[str, str], told: str) -> None:
    # 2.2 % vol is 50 % of 4.4 (IEC 60079-20-1:2010) and 44 % of 5.0 (NFPA 497:2008).
    gas = {"gas": "methane", "amount": "2.2", "unit": "vol_pct", **label}
    entry = like("cylinder", components=[gas])
    if not told:
        assert KINDS["cylinder"].model_validate(entry).subjects() == ("cylinder:C-112",)
        return
    with pytest.raises(ValidationError, match=re.escape(told)):
        KINDS["cylinder"].model_validate(entry)


# --- The page that explains them ----------------------------------------------------------------------------

PAGE = (Path(__file__).parents[2] / "docs" / "kinds.md").read_text(encoding="utf-8")


def section(title: str) -> str:
    """The text of the page under a heading, up to the next."""
    found = re.search(rf"^## {re.escape(title)}\n(.*?)(?=^#|\Z)", PAGE, re.MULTILINE | re.DOTALL)
    assert found, f"docs/kinds.md has no heading {title!r}"
    return found[1]


def rows(text: str) -> list[str]:
    return re.findall(r"^\| `([^`]+)` \|", text, re.MULTILINE)


def test_the_page_has_every_kind_in_order_and_no_other() -> None:
    headings = re.findall(r"^## ([a-z][a-z-]*)$", PAGE, re.MULTILINE)
    assert headings == list(KINDS)


def test_the_page_has_the_fields_of_every_entry() -> None:
    assert sorted(rows(section("Fields of every entry"))) == sorted(Body.model_fields)


@EVERY_KIND
def test_the_page_has_every_field_of_a_kind_and_its_example(kind: str) -> None:
    text = section(kind)
    assert sorted(rows(text)) == sorted(set(KINDS[kind].model_fields) - set(Body.model_fields))
    [example] = re.findall(r"^```json\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    assert json.loads(example) == KINDS[kind].EXAMPLE


@EVERY_KIND
def test_the_page_says_which_fields_must_be_given(kind: str) -> None:
    must = re.findall(r"^\| `([^`]+)` \|.*\| must \|", section(kind), re.MULTILINE)
    required = set(KINDS[kind].model_json_schema()["required"]) - set(Body.model_fields)
    assert set(must) == required


def test_the_page_has_every_part_with_every_field() -> None:
    parts = {
        name: set(schema["properties"])
        for kind in ALL
        for name, schema in kind.model_json_schema().get("$defs", {}).items()
    }
    for name, fields in parts.items():
        [anchor] = set(re.findall(rf"\[{name}\]\(#([a-z-]+)\)", PAGE))
        [title] = [
            heading
            for heading in re.findall(r"^## (.+)$", PAGE, re.MULTILINE)
            if re.sub(r"[^a-z-]", "", heading.lower().replace(" ", "-")) == anchor
        ]
        assert set(rows(section(title))) == fields


@pytest.mark.parametrize(
    ("kind", "title"),
    [
        ("detector", "Table of detectors"),
        ("person", "Table of people"),
        ("cylinder", "Table of cylinders"),
        ("bump-test", "Table of reported tests"),
    ],
)
def test_the_page_has_every_column_of_every_table(kind: str, title: str) -> None:
    for column in COLUMNS[kind]:
        must = "must" if column.required else ""
        assert f"| `{column.header}` | {must} | {column.help} |" in section(title)
