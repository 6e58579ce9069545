"""Retention periods: what comes with pitbird, what the user's own file may say, every fault at once."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from pitbird.services.periods import (
    PeriodsRefused,
    parse_periods,
    read_periods,
    shipped_periods,
    years_after,
)

GOOD = """
[[period]]
id = "names"
about = "Names, by our own agreement"
kinds = ["person"]
from = "left"
years = 2
applies = true
source = "works agreement of the undertaking"
edition = "2026"
known = "seen"
"""


def test_shipped_periods_are_those_of_their_sources() -> None:
    """29 CFR 1910.146(e)(6): one year; 29 CFR 1910.1020(d)(1)(ii): thirty years (both read in the text);
    COSHH 2002 regulation 10: forty years if personal, else five (from memory, confidence high)."""
    years = {period.source: period.years for period in shipped_periods() if period.applies}
    assert years["29 CFR 1910.146(e)(6) and (f)(10)"] == 1
    assert years["29 CFR 1910.1020(d)(1)(ii)"] == 30
    assert years["COSHH 2002, regulation 10"] == 40
    assert years["COSHH 2002, regulations 9 and 10"] == 5


def test_every_shipped_period_names_source_edition_and_how_well_it_is_known() -> None:
    for period in shipped_periods():
        assert period.source, period.id
        assert period.edition, period.id
        assert (period.known == "common-practice") == (period.source == "common practice, no source")


def test_without_a_file_of_ones_own_the_shipped_periods_hold(tmp_path: Path) -> None:
    assert read_periods(tmp_path) == shipped_periods()


def test_a_period_of_the_own_file_stands_in_place_of_the_shipped_one(tmp_path: Path) -> None:
    (tmp_path / "retention.toml").write_text(GOOD)
    periods = {period.id: period for period in read_periods(tmp_path)}
    assert (periods["names"].years, periods["names"].own, periods["names"].kinds) == (2, True, ("person",))
    assert len(periods) == len(shipped_periods())
    assert not periods["exposure"].own


def test_every_fault_of_a_file_is_told_at_once_and_nothing_of_it_is_used(tmp_path: Path) -> None:
    (tmp_path / "retention.toml").write_text(
        'title = "x"\n[[period]]\nid = "Names"\nkinds = ["persons"]\nfrom = "now"\nyears = "two"\n'
        'applies = 1\nsource = ""\nedition = "none"\nknown = "sure"\nyear = 2\n'
        '[[period]]\nid = "who"\nabout = "x"\nkinds = ["who-saw", "note"]\nfrom = "entry"\nyears = 201\n'
        'applies = true\nsource = "x"\nedition = "x"\nknown = "seen"\n'
    )
    with pytest.raises(PeriodsRefused) as refused:
        read_periods(tmp_path)
    told = {fault.where: fault.problem for fault in refused.value.faults}
    assert set(told) == {
        "title", "period[1].year", "period[1].id", "period[1].about", "period[1].source", "period[1].from",
        "period[1].years", "period[1].applies", "period[1].known", "period[1].kinds",
        "period[2] (who).years", "period[2] (who).kinds",
    }  # fmt: skip
    assert (
        "did you mean 'person'" in told["period[1].kinds"] or "did you mean person" in told["period[1].kinds"]
    )
    assert "did you mean years?" in told["period[1].year"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[period", "not TOML"),
        ("period = 3", "write each period as [[period]]"),
        ("period = [1]", "write it as [[period]]"),
        (GOOD + GOOD, "stands twice"),
    ],
)
def test_a_file_that_is_no_list_of_periods_is_refused(text: str, said: str) -> None:
    periods, faults = parse_periods(text)
    assert periods == ()
    assert said in "\n".join(map(str, faults))


def test_a_file_that_is_not_utf_8_is_refused(tmp_path: Path) -> None:
    (tmp_path / "retention.toml").write_bytes(b"# \xff\n")
    with pytest.raises(PeriodsRefused, match="cannot be read"):
        read_periods(tmp_path)


def test_years_end_on_the_same_day_and_a_leap_day_on_the_day_after() -> None:
    assert years_after(date(2026, 3, 2), 5) == date(2031, 3, 2)
    assert years_after(date(2024, 2, 29), 1) == date(2025, 3, 1)
    assert years_after(date(2024, 2, 29), 4) == date(2028, 2, 29)
