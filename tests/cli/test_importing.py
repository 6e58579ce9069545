"""Tables into the book: all lines or none, every fault with its line."""

from collections.abc import Callable
from pathlib import Path

from tests.cli.conftest import Pitbird

DETECTORS = """\
detector,make,model,serial,home,signals,channel,gas,principle,unit,range_high,clean_air,clean_air_tolerance,alarms
D-20,Heron,Quartet,20,north-works,sound light,H2S,hydrogen sulfide,electrochemical,ppm,100,0,1,low 5; high 10
D-20,,,,,,CO,carbon monoxide,electrochemical,ppm,500,0,3,low 20; high 60
D-21,Heron,Quartet,21,north-works,sound,H2S,hydrogen sulfide,electrochemical,ppm,100,0,1,low 5; high 10
"""


def test_detectors_come_with_their_channels(begun: Pitbird, tmp_path: Path) -> None:
    file = tmp_path / "detectors.csv"
    file.write_text(DETECTORS)
    done = begun(f"import detectors {file}")
    assert (done.status, done.out) == (0, "2 detectors written.\n"), done.err
    assert "D-20" in begun("gate").out


def test_every_fault_is_named_with_its_line_and_nothing_is_written(
    begun: Pitbird, size: Callable[[], int], tmp_path: Path
) -> None:
    file = tmp_path / "detectors.csv"
    file.write_text(DETECTORS.replace(",500,", ",much,").replace("21,north-works", "21,nowhere at all"))
    before = size()
    refused = begun(f"import detectors {file}")
    assert (refused.status, refused.out) == (2, "")
    assert any(line.startswith("line 3: detector.range_high = 'much'") for line in refused.faults)
    assert any(line.startswith("line 4: ") and "nowhere at all" in line for line in refused.faults)
    assert size() == before


def test_a_site_that_the_book_does_not_know_is_refused(
    begun: Pitbird, size: Callable[[], int], tmp_path: Path
) -> None:
    file = tmp_path / "people.csv"
    file.write_text(
        "person,name,roles,home\nP-30,Greta Louvim,tester,north-work\nP-31,Aldo Quintrel,tester,\n"
    )
    before = size()
    refused = begun(f"import people {file}")
    assert refused.status == 2
    assert refused.faults[0].startswith("line 2: person.home = 'site:north-work'")
    assert "did you mean site:north-works?" in refused.err
    assert size() == before


def test_bare_tests_from_elsewhere_are_written_as_reported(begun: Pitbird, tmp_path: Path) -> None:
    file = tmp_path / "tests.csv"
    file.write_text("detector,at,outcome,by\nD-017,2026-01-05T06:00+00:00,passed,P-07\n")
    assert begun(f"import tests {file}").status == 0
    assert "bump-test" in begun("book page D-017").out


def test_cylinders_come_with_their_gases(begun: Pitbird, tmp_path: Path) -> None:
    file = tmp_path / "cylinders.csv"
    file.write_text(
        "cylinder;balance;expires;minimum_pressure_bar;home;gas;amount;unit\n"
        "C-200;nitrogen;2099-01-01;2;north-works;hydrogen sulfide;20;ppm\n"
        "C-200;;;;;carbon monoxide;100;ppm\n"
    )
    done = begun(f"import cylinders {file}")
    assert (done.status, done.out) == (0, "1 cylinders written.\n"), done.err
