"""CSV and JSON Lines: what a spreadsheet must not run, and that both are read back as they were written."""

import csv
import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.papers.bundle.csv_form import csv_line, harmless, json_line

# OWASP, "CSV Injection" (owasp.org/www-community/attacks/CSV_Injection): equals, plus, minus, at, tab (0x09),
# carriage return (0x0D), line feed (0x0A), and the double-byte forms of the first four. List from memory.
OWASP = ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"]


@pytest.mark.parametrize("start", OWASP)
def test_a_cell_that_begins_as_a_formula_gets_an_apostrophe(start: str) -> None:
    assert harmless(f"{start}HYPERLINK(A1)") == f"'{start}HYPERLINK(A1)"
    assert harmless(f"  {start}1+1") == f"'  {start}1+1"


@pytest.mark.parametrize("text", ["-0.5", "-12", "20.9", "0", "7"])
def test_numbers_stay_numbers(text: str) -> None:
    assert harmless(text) == text


@pytest.mark.parametrize("text", ["-1+1", "-", "+1", "=1", "-0.5e3", "-１"])
def test_what_only_begins_as_a_number_does_not(text: str) -> None:
    assert harmless(text) == f"'{text}"


def test_a_line_is_that_of_rfc_4180() -> None:
    # RFC 4180, section 2: fields apart by commas, CR LF at the end, quotes doubled inside quotes.
    assert csv_line(["D-017", 'said "no"', "a, b", None, 3]) == b'D-017,"said ""no""","a, b",,3\r\n'
    assert csv_line(["two\nlines"]) == b'"two\nlines"\r\n'


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0")), min_size=2))
def test_any_line_is_read_back_by_the_standard_library_and_holds_no_formula(cells: list[str]) -> None:
    read = next(csv.reader(io.StringIO(csv_line(cells).decode(), newline="")))
    assert read == [harmless(cell) for cell in cells]
    assert not any(cell.lstrip(" ")[:1] in OWASP[:2] + OWASP[3:] for cell in read if cell.strip(" "))


def test_json_lines_hold_the_cells_as_they_are() -> None:
    line = json_line({"note": "=1+1", "by_name": "Inês", "gauge_bar": "", "index": 4, "made": None})
    assert line.endswith(b"}\n")
    assert json.loads(line) == {"note": "=1+1", "by_name": "Inês", "index": 4}
