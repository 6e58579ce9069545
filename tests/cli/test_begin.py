"""A book is begun once, whole, or not at all."""

from collections.abc import Callable

from tests.cli.conftest import BEGIN, Pitbird


def test_a_new_book_has_its_four_first_entries(pitbird: Pitbird, size: Callable[[], int]) -> None:
    done = pitbird(BEGIN)
    assert done.status == 0
    assert "Keeper K-1, site north-works (Europe/Lisbon), site rules 'strict'" in done.out
    assert size() == 4


def test_a_book_is_not_begun_twice(begun: Pitbird, size: Callable[[], int]) -> None:
    before = size()
    again = begun(BEGIN)
    assert again.status == 2
    assert again.out == ""
    assert "has been begun already" in again.err
    assert size() == before


def test_two_faults_are_both_named_and_nothing_is_written(pitbird: Pitbird, size: Callable[[], int]) -> None:
    refused = pitbird(BEGIN.replace("Europe/Lisbon", "Mars/Base").replace("north-works", "'north works'"))
    assert (refused.status, refused.out) == (2, "")
    assert any("site_zone" in line and "Mars/Base" in line for line in refused.faults)
    assert any("site:north works" in line for line in refused.faults)
    assert size() == 0


def test_unknown_site_rules_name_those_that_are_near(pitbird: Pitbird, size: Callable[[], int]) -> None:
    refused = pitbird(BEGIN + " --rules stict")
    assert refused.status == 2
    assert "did you mean strict?" in refused.err
    assert size() == 0


def test_without_a_book_every_command_says_how_to_begin(pitbird: Pitbird) -> None:
    for line in (
        "gate",
        "test D-017",
        "write -",
        "book page D-017",
        "doctor",
        "rules adopt strict --sites all",
    ):
        refused = pitbird(line, "")
        assert refused.status == 2, line
        assert "pitbird begin" in refused.err, line
