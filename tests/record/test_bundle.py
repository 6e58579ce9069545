"""The verifier of audit bundles, held to the vectors that all three verifiers share."""

import io
import json
import tracemalloc
from collections.abc import Iterator

import pytest

from pitbird.record.archive import Archive
from pitbird.record.bundle import EXIT, BundleReport, Fault, verify_bundle
from pitbird.record.canonical import STANDARD, Codec
from pitbird.record.errors import BadArchive
from pitbird.services.quick import QUICK
from tests.vectors.bundles import fuzz
from tests.vectors.bundles.cases import Case, case_named, cases, check

YES = ("holds", "consistent in itself")


def told_of(case: Case, codec: Codec = STANDARD) -> BundleReport:
    return told(case.data, case.fingerprint, case.known, [text for text, _ in case.papers], codec)


def told(
    data: bytes,
    fingerprint: str | None,
    known: bytes | None = None,
    papers: list[str] | None = None,
    codec: Codec = STANDARD,
) -> BundleReport:
    try:
        files = Archive(io.BytesIO(data))
    except BadArchive as error:
        return BundleReport(faults=[Fault(error.where, "", None, error.what)])
    return verify_bundle(files, fingerprint=fingerprint, known=known, papers=papers or (), codec=codec)


@pytest.mark.parametrize("codec", [STANDARD, QUICK], ids=["standard", "quick"])
@pytest.mark.parametrize("case", cases(), ids=str)
def test_every_bundle_is_answered_as_the_vectors_say(case: Case, codec: Codec) -> None:
    report = told_of(case, codec)
    check(case, json.loads(json.dumps(report.as_json())))
    if report.answer != "refused":
        assert report.papers == list(case.papers)


def test_every_answer_has_a_status_of_its_own() -> None:
    assert {case.answer for case in cases()} == set(EXIT)
    assert len(set(EXIT.values())) == len(EXIT)


@pytest.mark.parametrize("file", fuzz.EVIDENCE)
def test_a_byte_changed_in_the_evidence_is_never_answered_with_yes(file: str) -> None:
    for what, data in fuzz.changed_evidence(file, step=11):
        assert told(data, fuzz.FINGERPRINT, fuzz.known()).answer not in YES, what


@pytest.mark.slow
@pytest.mark.parametrize("file", fuzz.EVIDENCE)
def test_no_byte_changed_in_the_evidence_is_ever_answered_with_yes(file: str) -> None:
    for what, data in fuzz.changed_evidence(file):
        assert told(data, fuzz.FINGERPRINT, fuzz.known(), codec=QUICK).answer not in YES, what


@pytest.mark.slow
def test_no_byte_changed_in_the_zip_is_ever_answered_with_yes_unless_the_files_are_the_same() -> None:
    for what, data, same in fuzz.changed_zip():
        assert same or told(data, fuzz.FINGERPRINT, fuzz.known()).answer not in YES, what


class Made:
    """Files that are made as they are read, so that a large bundle needs no memory."""

    def __init__(self, files: dict[str, bytes], entries: int) -> None:
        self._files, self._entries = files, entries

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self._files)

    def read(self, name: str) -> Iterator[bytes]:
        yield from (
            [b'{"not":"an entry"}\n'] * self._entries if name == "entries.jsonl" else [self._files[name]]
        )


def test_a_line_that_is_none_is_told_a_hundred_times_and_takes_no_memory() -> None:
    case = case_named("good-small")
    archive = Archive(io.BytesIO(case.data))
    files = {name: b"".join(archive.read(name)) for name in archive.names}
    tracemalloc.start()
    report = verify_bundle(Made(files, 20_000), fingerprint=case.fingerprint)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert report.answer == "does not hold"
    assert sum(fault.code == "entry" for fault in report.faults) == 100
    assert peak < 2_000_000
