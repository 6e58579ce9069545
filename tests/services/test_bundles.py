"""Bundles made from a book, and what the verifier that travels in them says of them.

Every bundle here is checked by ``verify.py``, which was written apart from the program, shares no code with
it and is held to the vectors in tests/vectors/bundles; and by the program's own verifier, with the same
answer.
"""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pitbird.papers.bundle.verify import verify
from pitbird.papers.bundle.writing import BundleRefused
from pitbird.record.archive import Archive
from pitbird.record.bundle import verify_bundle
from pitbird.services import bundle_papers, checkpoints, clock
from pitbird.services.book_keys import public_key
from pitbird.services.bundle_scope import Asked
from pitbird.services.bundles import Made, Progress, bundle_steps, make_bundle
from pitbird.services.erasing import erase_person
from pitbird.services.key_rotation import rotate
from pitbird.services.quick import QUICK
from pitbird.services.writing import Actor, write
from pitbird.store import book
from tests.bodies import CHANNELS, at, bump, ms

D17, D18, C112, P07 = "detector:D-017", "detector:D-018", "cylinder:C-112", "person:P-07"
SITE = "site:north-works"
TODAY = date(2026, 3, 2)

Bundle = Callable[..., Path]


@pytest.fixture
def bundle(fleet: Actor, tmp_path: Path) -> Bundle:
    """Make a bundle of the fleet's book."""
    made = iter(range(1000))

    def make(asked: Asked, home: Path = tmp_path) -> Path:
        path = tmp_path / f"{next(made)}.zip"
        with path.open("xb") as out:
            done = make_bundle(asked, out, home)
        assert done.length == path.stat().st_size
        return path

    return make


def checked(path: Path, home: Path, known: Path | None = None) -> dict[str, Any]:
    """What verify.py says of a bundle, given the right fingerprint; ``pitbird verify`` must say the same."""
    fingerprint = public_key(home).fingerprint()
    held = known.read_bytes() if known else None
    told = verify(str(path), fingerprint, held)
    with path.open("rb") as file:
        report = verify_bundle(Archive(file), fingerprint=fingerprint, known=held, codec=QUICK)
    same = report.as_json()
    for key in ("answer", "origin", "size", "entries", "subjects", "asked", "withheld", "signed"):
        assert told[key] == same[key], key
    assert {fault["code"] for fault in told["faults"]} == {fault["code"] for fault in same["faults"]}
    return told


def read(path: Path, name: str) -> bytes:
    with zipfile.ZipFile(path) as archive:
        return archive.read(name)


def table(path: Path, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(read(path, f"pages/{name}.csv").decode(), newline="")))


def scope(path: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(read(path, "scope.json"))
    return found


def second_detector(actor: Actor) -> None:
    draft = {
        "kind": "detector", "detector": D18, "make": "Heron Works", "model": "Quartet P", "serial": "Q-2",
        "signals": ["sound"], "home": SITE, "channels": CHANNELS,
    }  # fmt: skip
    write(draft, actor, now=ms("05:00"))


def shown_gas(
    actor: Actor, when: str, detector: str = D17, day: str = "2026-03-02", *, recorded: str = "", **more: Any
) -> str:
    """A bump test by P-07, recorded a minute after (or when it says); its id."""
    body = bump(at(when, day), detector=detector, by=P07, about=None, **more)
    hour, _, minute = (recorded or when).partition(":")
    write(body, actor, now=ms(f"{hour}:{int(minute) + (0 if recorded else 1):02d}", day))
    return str(body["id"])


def test_a_bundle_of_one_detector_holds_with_all_that_it_was_tested_with(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    shown_gas(fleet, "06:30")

    path = bundle(Asked(detectors=(D17,)))

    told = checked(path, tmp_path)
    assert (told["answer"], told["faults"]) == ("holds", [])
    assert set(scope(path)["subjects"]) == {D17, C112, P07, "person:K-1", SITE, str(next(
        subject for subject in book.census() if subject.startswith("book:")
    ))}  # fmt: skip
    assert scope(path)["since"] is None
    assert set(scope(path)["subjects"].values()) == {1}
    (row,) = table(path, "tests")
    assert (row["detector"], row["by_name"], row["stands"]) == ("D-017", "Rui Marrel", "yes")


def test_the_regulators_come_along_with_their_hoses_though_told_before_the_period(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    for code, hose in (("R-01", None), ("R-02", "2.5"), ("R-03", None)):
        regulator = {"kind": "regulator", "regulator": f"regulator:{code}", "flow": "fixed"}
        write(
            {**regulator, "flow_l_min": "0.5", **({"hose_m": hose} if hose else {})}, fleet, now=ms("05:10")
        )
    opened = {"kind": "cylinder-opened", "cylinder": C112, "at_site": SITE, "regulator": "regulator:R-01"}
    write(opened, fleet, now=ms("05:20"))
    given = bump(at("06:30", "2026-03-05"))["applications"][0]
    shown_gas(fleet, "06:30", day="2026-03-05", applications=[{**given, "regulator": "regulator:R-02"}])

    path = bundle(Asked(detectors=(D17,), first=date(2026, 3, 4)))

    assert checked(path, tmp_path)["answer"] == "holds"
    assert {"regulator:R-01", "regulator:R-02"} <= scope(path)["subjects"].keys()
    assert "regulator:R-03" not in scope(path)["subjects"]
    told = {row["regulator"]: (row["flow_l_min"], row["hose_m"]) for row in table(path, "regulators")}
    assert told == {"R-01": ("0.5", ""), "R-02": ("0.5", "2.5")}


def test_without_a_fingerprint_it_is_consistent_in_itself_and_no_more(bundle: Bundle, tmp_path: Path) -> None:
    assert verify(str(bundle(Asked(detectors=(D17,)))), None, None, [])["answer"] == "consistent in itself"


def test_a_period_begins_with_the_last_entry_before_it_as_a_fence(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    for day in ("2026-03-02", "2026-03-03", "2026-03-04", "2026-03-05"):
        write({"kind": "happened", "detector": D17, "what": "drop"}, fleet, now=ms("09:00", day))

    path = bundle(Asked(detectors=(D17,), first=date(2026, 3, 4)))

    assert checked(path, tmp_path)["answer"] == "holds"
    assert scope(path)["since"] == "2026-03-04T00:00:00.000Z"
    # Described and calibrated, then dropped on four days: the fourth entry is the drop of 3 March.
    assert scope(path)["subjects"][D17] == 4
    assert [row["at_utc"][:10] for row in table(path, "events")] == ["2026-03-04", "2026-03-05"]


def test_a_detector_of_which_nothing_was_written_since_is_shown_by_its_fence_alone(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    path = bundle(Asked(detectors=(D17,), first=date(2026, 4, 1)))

    assert checked(path, tmp_path)["answer"] == "holds"
    assert scope(path)["subjects"][D17] == book.census()[D17]


def test_the_fence_moves_back_where_an_entry_about_the_gas_lies_before_it(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    # The cylinder is in from its first entry, so the calibration and the test of 2 March come with it.
    shown_gas(fleet, "06:30")
    write({"kind": "happened", "detector": D17, "what": "drop"}, fleet, now=ms("07:00"))
    shown_gas(fleet, "06:30", day="2026-03-09")

    path = bundle(Asked(detectors=(D17,), first=date(2026, 3, 9)))

    assert checked(path, tmp_path)["answer"] == "holds"
    assert scope(path)["subjects"][C112] == 1
    assert scope(path)["subjects"][D17] == 2
    assert [row["at_utc"][:10] for row in table(path, "tests")] == ["2026-03-09"]


def test_what_came_after_the_period_is_among_the_entries_and_not_in_the_tables(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    shown_gas(fleet, "06:30")
    shown_gas(fleet, "06:30", day="2026-03-09")

    path = bundle(Asked(detectors=(D17,), first=TODAY, last=TODAY))

    assert checked(path, tmp_path)["answer"] == "holds"
    assert [row["at_utc"][:10] for row in table(path, "tests")] == ["2026-03-02"]
    assert read(path, "entries.jsonl").count(b'"kind":"bump-test"') == 2


def test_testers_come_with_their_training_though_nothing_more_is_claimed_of_them(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    shown_gas(fleet, "06:30", day="2026-03-09")

    path = bundle(Asked(detectors=(D17,), first=date(2026, 3, 9)))

    assert checked(path, tmp_path)["answer"] == "holds"
    assert P07 not in scope(path)["subjects"]
    assert [(row["person"], row["all_here"]) for row in table(path, "trainings")] == [("P-07", "no")]
    assert [row["person_name"] for row in table(path, "people")] == ["Rui Marrel"]


def test_a_site_brings_its_detectors_and_its_rules(bundle: Bundle, fleet: Actor, tmp_path: Path) -> None:
    second_detector(fleet)

    path = bundle(Asked(sites=(SITE,)))

    assert checked(path, tmp_path)["answer"] == "holds"
    assert {D17, D18, SITE} <= set(scope(path)["subjects"])
    (row,) = table(path, "rules")
    assert (row["of_site"], row["rules"], row["in_force_to_utc"]) == ("north-works", "strict", "")


def test_a_change_of_the_rules_is_told_in_words(bundle: Bundle, fleet: Actor, tmp_path: Path) -> None:
    from pitbird.rules.loading import document_of, load_shipped, shipped

    other = next(name for name in sorted(shipped()) if name != "strict")
    draft = {
        "kind": "rules-adopted", "rules": f"rules:{other}", "sites": [SITE], "effective": at("08:00"),
        "document": document_of(load_shipped(other)),
    }  # fmt: skip
    write(draft, fleet, now=ms("08:00"))

    path = bundle(Asked(sites=(SITE,)))

    assert checked(path, tmp_path)["answer"] == "holds"
    strict, later = table(path, "rules")
    assert strict["in_force_to_utc"] == later["in_force_from_utc"] == at("08:00")
    assert strict["changes"] == ""
    assert "Rule " in later["changes"]


def test_a_person_brings_everything_about_them_and_the_tests_they_made(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    shown_gas(fleet, "06:30")

    path = bundle(Asked(people=(P07,)))

    assert checked(path, tmp_path)["answer"] == "holds"
    assert P07 in scope(path)["subjects"]
    assert D17 not in scope(path)["subjects"]
    assert [row["all_here"] for row in table(path, "tests")] == ["no"]


def test_texts_left_out_by_choice_are_withheld_everywhere(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    write(
        {"kind": "happened", "detector": D17, "what": "drop", "note": "Marrel let it fall"},
        fleet,
        now=ms("07:00"),
    )
    shown_gas(fleet, "06:30")

    path = bundle(Asked(detectors=(D17,), texts=False))

    told = checked(path, tmp_path)
    assert told["answer"] == "holds"
    assert told["withheld"] == 3  # two names, one note
    with zipfile.ZipFile(path) as archive:
        for name in archive.namelist():
            assert b"Marrel" not in archive.read(name), name
    assert [row["note"] for row in table(path, "events")] == ["withheld"]


def test_a_bundle_with_erased_names_holds_and_says_that_they_are_withheld(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    shown_gas(fleet, "06:30")
    erase_person(P07, (), "request", fleet, now=ms("08:00"))

    path = bundle(Asked(detectors=(D17,), people=(P07,)))

    told = checked(path, tmp_path)
    assert (told["answer"], told["withheld"]) == ("holds", 1)
    assert b"Marrel" not in b"".join(zipfile.ZipFile(path).read(name) for name in ("entries.jsonl",))
    assert {row["by_name"] for row in table(path, "tests")} == {""}


def test_a_corrected_entry_stands_beside_its_correction(bundle: Bundle, fleet: Actor, tmp_path: Path) -> None:
    original = shown_gas(fleet, "06:30")
    found = book.by_id(original)
    assert found is not None
    replacement = {**json.loads(found.leaf)["body"], "temperature_c": "11"}
    draft = {"kind": "correction", "corrects": original, "how": "replace", "replacement": replacement,
             "of_about": [D17, C112], "reason": "read off wrongly"}  # fmt: skip
    write(draft, fleet, now=ms("07:00"))

    path = bundle(Asked(detectors=(D17,)))

    assert checked(path, tmp_path)["answer"] == "holds"
    first, second = table(path, "tests")
    assert first["stands"] == f"no: replaced by entry {second['index']}"
    assert (second["instead_of"], second["temperature_c"], second["stands"]) == (first["index"], "11", "yes")
    (row,) = table(path, "corrections")
    assert (row["field"], row["original_value"], row["corrected_value"]) == ("temperature_c", "12", "11")
    assert row["reason"] == "read off wrongly"


@pytest.mark.parametrize("asked", [(D17,), (D18,), (D17, D18)])
def test_an_entry_that_was_moved_to_another_detector_is_in_the_bundle_of_both(
    bundle: Bundle, fleet: Actor, tmp_path: Path, asked: tuple[str, ...]
) -> None:
    second_detector(fleet)
    original = shown_gas(fleet, "06:30")
    found = book.by_id(original)
    assert found is not None
    replacement = {**json.loads(found.leaf)["body"], "detector": D18, "about": [D18, C112]}
    draft = {"kind": "correction", "corrects": original, "how": "replace", "replacement": replacement,
             "of_about": [D17, C112], "reason": "the wrong label was scanned"}  # fmt: skip
    write(draft, fleet, now=ms("06:45"))

    path = bundle(Asked(detectors=asked))

    assert checked(path, tmp_path)["answer"] == "holds"
    assert {(row["detector"], row["stands"][:2]) for row in table(path, "tests")} == {
        ("D-017", "no"),
        ("D-018", "ye"),
    }


def test_a_moved_entry_pulls_the_fence_of_the_other_detector_back(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    second_detector(fleet)
    original = shown_gas(fleet, "06:30", day="2026-03-09")
    found = book.by_id(original)
    assert found is not None
    replacement = {**json.loads(found.leaf)["body"], "detector": D18, "about": [D18, C112]}
    draft = {"kind": "correction", "corrects": original, "how": "replace", "replacement": replacement,
             "of_about": [D17, C112], "reason": "the wrong label was scanned"}  # fmt: skip
    write(draft, fleet, now=ms("06:45", "2026-03-09"))
    for day in ("2026-03-10", "2026-03-11"):
        write({"kind": "happened", "detector": D18, "what": "drop"}, fleet, now=ms("09:00", day))
        shown_gas(fleet, "09:30", day=day)

    path = bundle(Asked(detectors=(D17, D18), first=date(2026, 3, 11)))

    assert checked(path, tmp_path)["answer"] == "holds"


def test_what_was_written_late_is_in_the_bundle_of_the_time_when_it_was_recorded(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    body = bump(at("06:30"), detector=D17, by=P07, about=None)
    write(body, fleet, now=ms("10:00", "2026-03-09"))

    path = bundle(Asked(detectors=(D17,), first=TODAY, last=TODAY))

    assert checked(path, tmp_path)["answer"] == "holds"
    (row,) = table(path, "late")
    assert int(row["minutes"]) == 7 * 24 * 60 + 210


def test_it_shows_that_the_book_goes_on_from_a_checkpoint_that_the_auditor_holds(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    held = checkpoints.make_checkpoint(tmp_path)
    shown_gas(fleet, "06:30")
    known = held.path

    path = bundle(Asked(detectors=(D17,), since_size=held.checkpoint.size))

    assert checked(path, tmp_path, known)["answer"] == "holds"
    assert checked(bundle(Asked(detectors=(D17,))), tmp_path, known)["answer"] == "does not hold"


def test_a_changed_key_is_led_to_from_each_that_the_auditor_may_hold(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    held = checkpoints.make_checkpoint(tmp_path)
    fingerprints = [public_key(tmp_path).fingerprint()]
    for because in ("planned", "exposed"):
        rotate(tmp_path, fleet, because=because, now=ms("07:00"))
        fingerprints.append(public_key(tmp_path).fingerprint())

    path = bundle(Asked(detectors=(D17,), since_size=held.checkpoint.size))

    with zipfile.ZipFile(path) as archive:
        assert {"keys/0001.note", "keys/0002.note"} <= set(archive.namelist())
    for fingerprint in fingerprints:
        told = verify(str(path), fingerprint, held.path.read_bytes())
        assert (told["answer"], told["faults"]) == ("holds", [])
    assert len(set(fingerprints)) == 3
    assert checked(path, tmp_path)["answer"] == "holds"


def test_a_key_that_is_changed_while_a_bundle_is_made_leaves_no_bundle(fleet: Actor, tmp_path: Path) -> None:
    steps = bundle_steps(Asked(detectors=(D17,)), io.BytesIO(), tmp_path)
    next(steps)
    rotate(tmp_path, fleet, because="planned", now=ms("07:00"))
    with pytest.raises(BundleRefused, match="key was changed while the bundle was made"):
        list(steps)


def test_a_time_stamp_of_the_checkpoint_goes_along(bundle: Bundle, fleet: Actor, tmp_path: Path) -> None:
    held = checkpoints.make_checkpoint(tmp_path)
    for end in (".tsr", ".tsa.pem"):
        held.path.with_suffix(end).write_bytes(end.encode())
    path = bundle(Asked(detectors=(D17,)))
    assert (read(path, "checkpoint.tsr"), read(path, "checkpoint.tsa.pem")) == (b".tsr", b".tsa.pem")
    assert checked(path, tmp_path)["answer"] == "holds"


def test_a_bundle_of_another_book_or_key_does_not_hold(bundle: Bundle, fleet: Actor, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    path = bundle(Asked(detectors=(D17,)), other)
    checkpoints.make_checkpoint(tmp_path)

    assert checked(path, other)["answer"] == "holds"
    assert [fault["code"] for fault in checked(path, tmp_path)["faults"]] == ["key"]


def test_every_fault_of_the_question_is_told_at_once(bundle: Bundle, fleet: Actor) -> None:
    asked = Asked(
        detectors=("detector:D-99",), sites=("site:moon",), people=("person:X",), paper="b5", since_size=9999,
        first=date(2026, 3, 3), last=TODAY,
    )  # fmt: skip
    with pytest.raises(BundleRefused) as refused:
        bundle(asked)
    fields = [line.partition(":")[0] for line in str(refused.value).splitlines()]
    assert fields == ["detector", "site", "person", "until", "since-checkpoint", "paper-size"]


def test_nothing_asked_for_is_refused(bundle: Bundle) -> None:
    with pytest.raises(BundleRefused, match="at least one detector"):
        bundle(Asked(first=TODAY))


def test_an_entry_changed_behind_the_books_back_goes_into_no_bundle(bundle: Bundle, fleet: Actor) -> None:
    from tests.services.test_checking import behind_its_back

    shown_gas(fleet, "06:30")
    behind_its_back(
        "UPDATE store_entry SET leaf = replace(leaf, 'passed', 'failed') WHERE kind = 'bump-test'"
    )
    with pytest.raises(BundleRefused, match="not the one that the book's tree holds"):
        bundle(Asked(detectors=(D17,)))


def test_the_same_question_makes_the_same_bytes_whatever_the_clock(
    bundle: Bundle, fleet: Actor, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown_gas(fleet, "06:30")
    first = bundle(Asked(detectors=(D17,), sites=(SITE,)))
    monkeypatch.setattr(clock, "now", lambda: ms("06:00", "2027-05-05"))
    assert bundle(Asked(detectors=(D17,), sites=(SITE,))).read_bytes() == first.read_bytes()


def test_it_tells_how_far_it_is(fleet: Actor, tmp_path: Path) -> None:
    told: list[Progress] = []
    made = make_bundle(Asked(detectors=(D17,)), io.BytesIO(), tmp_path, progress=told.append)
    assert isinstance(made, Made)
    entries = [each for each in told if each.what == "entries"]
    assert entries[-1].count == entries[-1].total == made.entries
    assert (told[-1].what, told[-1].count) == ("papers", told[-1].total)


def test_papers_of_the_detector_the_gas_the_testers_and_the_days_are_in(
    bundle: Bundle, fleet: Actor, tmp_path: Path
) -> None:
    shown_gas(fleet, "06:30")

    path = bundle(Asked(detectors=(D17,), sites=(SITE,), first=TODAY, last=TODAY))

    with zipfile.ZipFile(path) as archive:
        papers = [name for name in archive.namelist() if name.startswith("pages/papers/")]
        assert all(archive.read(name).startswith(b"%PDF-") for name in papers)
    assert sorted(papers) == [
        "pages/papers/book-2026-03-02-north-works.pdf",
        "pages/papers/cylinder-C-112.pdf",
        "pages/papers/detector-D-017.pdf",
        "pages/papers/training-K-1.pdf",
        "pages/papers/training-P-07.pdf",
    ]
    assert checked(path, tmp_path)["answer"] == "holds"


def test_more_papers_than_anybody_reads_are_left_out_and_that_is_told(
    bundle: Bundle, fleet: Actor, monkeypatch: pytest.MonkeyPatch
) -> None:
    second_detector(fleet)
    monkeypatch.setitem(bundle_papers.MOST, "detector", 1)

    path = bundle(Asked(sites=(SITE,)))

    assert "History: 2 are more than the 1 that are printed" in read(path, "README.txt").decode()
    assert not any("detector-" in name for name in zipfile.ZipFile(path).namelist())
