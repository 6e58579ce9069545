"""Tables from elsewhere: their drafts, and every fault with its line."""

import copy
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.fleet.kinds import KINDS
from pitbird.intake.drafts import complete, put_commitments, take_texts, with_book_times
from pitbird.intake.entries import read_body
from pitbird.intake.tables import COLUMNS, TableKind, documented, read_table

DETECTORS = """\
Detector;Make;Model;Serial;Home;Signals;Channel;Gas;Principle;Unit;Range high;Clean-air;Clean air tolerance;Alarms;LFL basis
D-004;Heron Works;Quartet P;Q-1;north-works;sound light;Flammable;methane;catalytic;pct_lfl;100;0;2;"low 10; high 20";iec-60079-20-1
D-004;;;;;;O2;oxygen;oxygen;vol_pct;30;20.9;0.3;"low 19.5 falling; rich 23.5 self-check";
detector:D-005;Heron Works;Solo;Q-2;site:north-works;sound, vibration;H2S;hydrogen sulfide;electrochemical;ppm;100;0;1;"high 10;";
"""  # noqa: E501


def faults_of(kind: TableKind, text: str) -> list[str]:
    return [str(fault) for fault in read_table(kind, text)[1]]


def test_detectors_are_read_with_a_line_for_each_channel() -> None:
    drafts, faults = read_table("detector", DETECTORS)
    assert faults == []
    assert [(line, draft["detector"]) for line, draft in drafts] == [
        (2, "detector:D-004"),
        (4, "detector:D-005"),
    ]
    assert drafts[0].draft == {
        "kind": "detector",
        "detector": "detector:D-004",
        "make": "Heron Works",
        "model": "Quartet P",
        "serial": "Q-1",
        "home": "site:north-works",
        "signals": ["sound", "light"],
        "channels": [
            {
                "name": "Flammable", "gas": "methane", "principle": "catalytic", "unit": "pct_lfl",
                "range_high": "100", "clean_air": "0", "clean_air_tolerance": "2",
                "alarms": [{"name": "low", "at": "10"}, {"name": "high", "at": "20"}],
                "lfl_basis": "iec-60079-20-1",
            },
            {
                "name": "O2", "gas": "oxygen", "principle": "oxygen", "unit": "vol_pct",
                "range_high": "30", "clean_air": "20.9", "clean_air_tolerance": "0.3",
                "alarms": [
                    {"name": "low", "at": "19.5", "direction": "falling"},
                    {"name": "rich", "at": "23.5", "shown_by": "self-check"},
                ],
            },
        ],
    }  # fmt: skip
    assert drafts[1].draft["signals"] == ["sound", "vibration"]


def test_people_are_read_and_their_names_can_be_sealed() -> None:
    drafts, faults = read_table("person", "person,name,roles,home\nP-12,Ana Reis,tester wearer,north-works\n")
    assert faults == []
    assert [draft for _, draft in drafts] == [
        {
            "kind": "person",
            "person": "person:P-12",
            "name": "Ana Reis",
            "roles": ["tester", "wearer"],
            "home": "site:north-works",
        }
    ]
    assert take_texts(drafts[0].draft)[1] == {"name": "Ana Reis"}


def test_cylinders_are_read_with_a_line_for_each_gas() -> None:
    text = (
        "cylinder\tbalance\texpires\tminimum pressure bar\thome\tgas\tamount\tunit\n"
        "C-112\tnitrogen\t2027-10-06\t2\tnorth-works\tmethane\t2.2\tvol_pct\n"
        "C-112\tnitrogen\t\t\t\thydrogen sulfide\t20\tppm\n"
    )
    drafts, faults = read_table("cylinder", text)
    assert faults == []
    assert [draft["components"] for _, draft in drafts] == [
        [
            {"gas": "methane", "amount": "2.2", "unit": "vol_pct"},
            {"gas": "hydrogen sulfide", "amount": "20", "unit": "ppm"},
        ]
    ]


def test_bare_tests_are_read_as_reported_one_for_each_line() -> None:
    text = (
        "detector|at|outcome|by\n"
        "D-017|2026-03-02T07:41+01:00|passed|P-07\n"
        "D-017|2026-03-03T07:40+01:00|failed|\n"
    )
    drafts, faults = read_table("bump-test", text)
    assert faults == []
    assert [draft["footing"] for _, draft in drafts] == ["reported", "reported"]
    assert [draft["outcome"] for _, draft in drafts] == ["passed", "failed"]
    assert drafts[0].draft["by"] == "person:P-07"


def test_every_draft_of_a_table_without_fault_becomes_an_entry() -> None:
    for number, (_, draft) in enumerate(read_table("detector", DETECTORS)[0]):
        tidy, _ = with_book_times(draft)
        whole = complete(
            tidy,
            new_id=f"0195a000-0000-7000-8000-00000000000{number}",
            at="2026-03-02T06:41:00.000Z",
            zone="Europe/Lisbon",
            by="person:P-07",
            where=None,
        )
        rest, texts = take_texts(whole)
        body, faults = read_body(put_commitments(rest, dict.fromkeys(texts, "sha256:" + "ab" * 32)))
        assert faults == ()
        assert body is not None


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_the_delimiter_is_told_by_the_header(delimiter: str, end: str, mark: str) -> None:
    text = mark + end.join(
        [delimiter.join(["person", "name", "home"]), delimiter.join(["P-1", '"Reis, Ana; jun."', "n"]), ""]
    )
    drafts, faults = read_table("person", text)
    assert faults == []
    assert [(line, draft["name"]) for line, draft in drafts] == [(2, "Reis, Ana; jun.")]


def test_a_table_of_one_column_needs_no_delimiter() -> None:
    assert faults_of("person", "person\nP-1\n") == [
        "line 1: person.name: the table has no such column, and needs it: the name, kept apart from the book"
    ]


# --- Faults -------------------------------------------------------------------------------------------------


def test_all_faults_of_a_header_are_said_at_once() -> None:
    assert faults_of("person", "person,nam,Person,roles,,home\nP-1,a,b,c,d,e\n") == [
        "line 1: column 2 = 'nam': no such column in a table of this kind; did you mean name?",
        "line 1: column 3 = 'Person': stands twice; take one out",
        "line 1: column 5: has no header; name it or take it out",
        "line 1: person.name: the table has no such column, and needs it: the name, kept apart from the book",
    ]


def test_all_faults_of_the_lines_are_said_at_once_and_in_order() -> None:
    header = "cylinder,balance,expires,minimum_pressure_bar,home,gas,amount,unit"
    lines = [
        "C-1,nitrogen,2027-13-06,2,north-works,methane,2.2,vol_pct",
        "C-1,helium,,,,oxygen,15,%vol",
        "C-2,nitrogen,2027-10-06,2,north-works,methane",
        ",nitrogen,2027-10-06,2,north-works,methane,2.2,vol_pct",
        "C-3,nitrogen,2027-10-06,2,north works,methane,,vol_pct",
    ]
    assert faults_of("cylinder", "\n".join([header, *lines])) == [
        "line 2: cylinder.expires = '2027-13-06': not a date; write it as YYYY-MM-DD",
        "line 3: cylinder.balance = 'helium': differs from line 2, where it is 'nitrogen'",
        (
            "line 3: cylinder.unit = '%vol': not a unit that is known here; write ppm or vol_pct; did you "
            "mean vol_pct?"
        ),
        "line 4: table: has 6 cells where the header has 8; look for a stray delimiter",
        "line 5: cylinder.cylinder: missing; every line says what it is about",
        "line 6: cylinder.amount: missing; it must be given",
        (
            "line 6: cylinder.home = 'site:north works': not a code; write up to 64 letters, digits, points, "
            "dashes or underscores, a letter or digit first, such as site:north-works"
        ),
    ]


def test_a_fault_of_a_channel_stands_on_its_own_line_and_column() -> None:
    text = DETECTORS.replace("low 19.5 falling", "low x falling sideways").replace(";O2;", ";O₂;")
    assert faults_of("detector", text) == [
        (
            "line 3: detector.alarms = 'low x falling sideways; rich 23.5 self-c…': 'sideways' after the "
            "set-point of low; allowed there once: rising, falling, gas, self-check or none"
        ),
        (
            "line 3: detector.channel = 'O₂': not the name of a channel; write up to 32 letters, digits, "
            "spaces, points, dashes or underscores, a letter or digit first"
        ),
        (
            "line 3: detector.alarms = 'x': not a decimal; write digits with a point, such as \"20.9\": "
            "no unit, no exponent, at most six decimals"
        ),
    ]


def test_a_person_stands_once() -> None:
    assert faults_of("person", "person,name\nP-1,Ana Reis\nperson:P-1,Rui Melo\n") == [
        "line 3: person.person = 'person:P-1': stands already on line 2; keep one of the two lines"
    ]


def test_a_test_needs_a_time_that_can_be_placed_and_a_known_outcome() -> None:
    text = "detector,at,outcome\nD-1,2026-03-02 06:41,pass\nD-1,2026-03-02T06:41Z,spoiled\n"
    assert faults_of("bump-test", text) == [
        (
            "line 2: bump-test.at = '2026-03-02 06:41': a time without its zone; add Z for UTC, or the "
            "offset of the clock it was read from, such as +01:00"
        ),
        (
            "line 2: bump-test.outcome = 'pass': not one of the words allowed; write passed, failed or "
            "spoiled; did you mean passed?"
        ),
        "line 3: bump-test: a spoiled test says why: 'spoiled_because'",
    ]


def test_lines_are_counted_as_an_editor_counts_them() -> None:
    text = 'person,name,note\n\nP-1,Ana,"two\nlines"\n\nP-2,,\n'
    assert faults_of("person", text) == ["line 6: person.name: missing; it must be given"]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "line 1: table: empty; its first line names the columns: person, name, roles, home, left, note"),
        (
            "\n \n",
            "line 1: table: empty; its first line names the columns: person, name, roles, home, left, note",
        ),
        ("person,name\n", "line 1: table: has a header but no lines"),
        (
            'person,name\nP-1,"Ana\n',
            (
                "line 2: table: cannot be read as CSV (unexpected end of data); "
                "look for a quotation mark that is not closed"
            ),
        ),
    ],
    ids=["empty", "blank", "header only", "quotation mark"],
)
def test_what_is_no_table_is_refused(text: str, fault: str) -> None:
    assert read_table("person", text)[0] == []
    assert faults_of("person", text) == [fault]


@given(kind=st.sampled_from(get_args(TableKind)), text=st.text())
def test_any_text_has_faults_and_never_crashes(kind: TableKind, text: str) -> None:
    assert faults_of(kind, text)


@given(
    kind=st.sampled_from(get_args(TableKind)),
    cells=st.lists(st.text(alphabet=st.characters(exclude_characters='"\r\n\0')), min_size=24, max_size=24),
)
def test_any_cells_give_a_draft_or_faults_and_never_crash(kind: TableKind, cells: list[str]) -> None:
    columns = COLUMNS[kind]
    row = ";".join(f'"{cell}"' for cell in cells[: len(columns)])
    drafts, faults = read_table(kind, ";".join(column.header for column in columns) + "\n" + row)
    assert faults or drafts


# --- Columns ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", get_args(TableKind))
def test_every_column_is_a_field_of_its_kind_and_every_needed_field_has_a_column(kind: TableKind) -> None:
    schema = KINDS[kind].model_json_schema()
    part = {"detector": "Channel", "cylinder": "Component"}.get(kind)
    of_part: dict[str, Any] = (
        copy.deepcopy(schema["$defs"][part]) if part else {"properties": {}, "required": []}
    )
    if kind == "detector":
        of_part["properties"]["channel"] = of_part["properties"].pop("name")
        of_part["required"][of_part["required"].index("name")] = "channel"
    whole = {column.header for column in COLUMNS[kind] if not column.part}
    parts = {column.header for column in COLUMNS[kind] if column.part}
    assert whole <= set(schema["properties"])
    assert parts <= set(of_part["properties"])
    left_out = {"kind", "id", "at", "zone", "by", "channels", "components"}
    required = {column.header for column in COLUMNS[kind] if column.required}
    assert set(schema["required"]) - left_out <= required
    assert set(of_part["required"]) <= required


@pytest.mark.parametrize("kind", get_args(TableKind))
def test_every_column_is_explained(kind: TableKind) -> None:
    assert [column["header"] for column in documented(kind)] == [column.header for column in COLUMNS[kind]]
    assert all(column["help"] for column in documented(kind))
