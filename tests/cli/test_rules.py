"""Site rules on the command line."""

from collections.abc import Callable
from pathlib import Path

from pitbird.rules.loading import load_shipped, shipped
from tests.cli.conftest import Pitbird

OWN = """
id = "north"
version = 2
title = "Our own"
[[rule]]
id = "described"
predicate = "described"
strength = "stops"
source = "common practice"
known = "common-practice"
"""


def test_the_shipped_rules_are_listed_and_shown_with_their_sources(pitbird: Pitbird) -> None:
    listed = pitbird("rules list").out
    for name in shipped():
        assert f"{name}  version " in listed
        shown = pitbird(f"rules show {name}").out
        for rule in load_shipped(name).rules:
            assert f"\n{rule.id}  ({rule.strength})" in shown
            assert rule.source in shown


def test_a_set_of_ones_own_is_checked_and_every_fault_named(pitbird: Pitbird, tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text(OWN)
    assert pitbird(f"rules check {file}").status == 0
    file.write_text(OWN.replace('"stops"', '"blocks"').replace("version = 2", "version = 0"))
    refused = pitbird(f"rules check {file}")
    assert (refused.status, refused.out) == (2, "")
    assert any("version" in line for line in refused.faults)
    assert any("strength" in line and "blocks" in line for line in refused.faults)
    # The line of each: version on the third, strength on the eighth.
    assert any(": line 3, version: 0 is no version" in line for line in refused.faults)
    assert any(": line 8, rule 1 (described), strength: " in line for line in refused.faults)
    file.write_text("id = \nversion = 1")
    assert "line 1, the file: is not TOML" in pitbird(f"rules check {file}").err


def test_rules_are_adopted_at_sites_from_a_time_on(begun: Pitbird, tmp_path: Path) -> None:
    from pitbird.fleet.state import SiteState
    from pitbird.services.knowing import Now

    file = tmp_path / "own.toml"
    file.write_text(OWN)
    done = begun(f"rules adopt {file} --sites all --from 2030-07-01T04:00")
    assert done.status == 0, done.err
    assert "north version 2 adopted at north-works from 2030-07-01 04:00 +01:00." in done.out
    assert "At north-works: from strict version 1 to north version 2: " in done.out
    assert "Rule daily-test is gone" in done.out
    state = Now().state("site:north-works")
    assert isinstance(state, SiteState)
    assert state.adoptions[0].rules == "rules:north"


def test_two_faults_of_an_adoption_are_both_named(begun: Pitbird, size: Callable[[], int]) -> None:
    before = size()
    refused = begun("rules adopt strict --sites north-works,sowth --from soon")
    assert (refused.status, refused.out) == (2, "")
    assert any(line.startswith("sites: the book knows no site 'sowth'") for line in refused.faults)
    assert any(line.startswith("from: 'soon' is not a time") for line in refused.faults)
    assert size() == before


def test_unknown_rules_name_those_near_them(begun: Pitbird) -> None:
    refused = begun("rules adopt stict --sites all")
    assert refused.status == 2
    assert "did you mean strict?" in refused.err


def test_two_sets_are_compared_in_words(pitbird: Pitbird) -> None:
    done = pitbird("rules compare strict emergency-services")
    assert done.status == 0
    assert "Rule tested-after-use is added" in done.out
    assert "Rule daily-test is gone" in done.out
    assert "(more may go out)" in done.out
    head = done.out.splitlines()[0]
    assert head.startswith("From strict version 1 to emergency-services version 1: ")
    assert head.endswith(" changes; cannot be told without asking the fleet")
    assert "no difference" in pitbird("rules compare strict strict").out


def test_what_another_set_would_answer_is_told_with_reasons(begun: Pitbird) -> None:
    done = begun("rules would emergency-services")
    assert done.status == 0
    assert "At north-works: from strict version 1 to emergency-services version 1:" in done.out
    assert "Rule tested-after-use is added" in done.out
    assert "of 1 detector:" in done.out
    assert "no answer would change" in done.out
    assert begun("rules would emergency-services --site nowhere").status == 2
