"""The whole check of a bundle, in the order in which one thing stands on another."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from typing import Final

from pitbird.record.bundle.entries import Entries
from pitbird.record.bundle.frame import HASH, Frame, read_frame
from pitbird.record.bundle.report import BundleReport, Desk, Files, Refused
from pitbird.record.canonical import STANDARD, Codec, parse_canonical
from pitbird.record.checkpoint import Checkpoint, verify_checkpoint
from pitbird.record.errors import ProofRefused, RecordError
from pitbird.record.merkle import verify_consistency

PAPER: Final = re.compile(r"pitbird-leaf/1 ([0-9a-f-]{36}) (0|[1-9][0-9]{0,18}) ([0-9a-f]{64})", re.ASCII)


def verify_bundle(
    files: Files,
    *,
    fingerprint: str | None = None,
    known: bytes | None = None,
    papers: Sequence[str] = (),
    codec: Codec = STANDARD,
) -> BundleReport:
    """Verify a bundle: signatures, every file, the tree, that nothing is missing, the texts.

    ``fingerprint`` is the key's, from the auditor; without it everything may have been made anew by somebody,
    and the answer is only that it is consistent in itself. ``known`` is a checkpoint of the book that the
    auditor holds; ``papers`` are the codes on papers to be looked up. Never raises for what a bundle may
    hold: the answer is in the report. Memory grows with 8 + 32 bytes an entry, and with ids and subjects.
    """
    desk = Desk(files)
    report = desk.report
    try:
        frame = read_frame(desk, fingerprint)
        entries = Entries(desk, frame, codec)
        entries.check()
        if known is not None and frame.checkpoint:
            _check_known(desk, known, frame.checkpoint, frame)
    except Refused:
        return report
    if report.faults:
        report.answer = "does not hold"
    else:
        report.answer = "consistent in itself" if fingerprint is None else "holds"
    report.papers = [(text, _stands(text, entries)) for text in papers]
    return report


def _check_known(desk: Desk, data: bytes, checkpoint: Checkpoint, frame: Frame) -> None:
    held: Checkpoint | None = None
    for key in frame.keys:
        with suppress(RecordError):
            held = verify_checkpoint(data, key, origin=checkpoint.origin).checkpoint
    if held is None:
        desk.fault(
            "known", "consistency.json", "the checkpoint that you hold is not signed by this book's keys"
        )
    elif held.size > checkpoint.size:
        desk.fault(
            "known",
            "consistency.json",
            f"you hold one of {held.size} entries, this is of {checkpoint.size}: rolled back, or old",
        )
    else:
        try:
            proof = _consistency(desk, held.size, checkpoint.size)
            verify_consistency(
                old_size=held.size,
                new_size=checkpoint.size,
                old_root=held.root,
                new_root=checkpoint.root,
                proof=proof,
            )
        except RecordError as error:
            desk.fault("known", "consistency.json", error.what)


def _consistency(desk: Desk, old: int, new: int) -> list[bytes]:
    if old in (0, new):
        return []
    if "consistency.json" not in desk.files.names:
        raise ProofRefused(
            f"nothing shows that the book goes on from your {old} entries; ask for a bundle that does"
        )
    value = parse_canonical(desk.one_line("consistency.json"))
    if type(value) is not dict or value.keys() != {"from", "proof", "to"} or type(value["proof"]) is not list:
        raise ProofRefused("not an object of from, proof and to")
    if [value["from"], value["to"]] != [old, new] or bool in map(type, (value["from"], value["to"])):
        raise ProofRefused(f"it is not from {old} entries to {new}")
    if not all(type(item) is str and HASH.fullmatch(item) for item in value["proof"]):
        raise ProofRefused("it holds something else than hashes")
    return [bytes.fromhex(item) for item in value["proof"]]


def _stands(text: str, entries: Entries) -> str:
    """What is to be said of the code on a paper."""
    match = PAPER.fullmatch(text.strip())
    if not match:
        return "not such a code"
    if entries.first_id is not None and entries.first_id != match[1]:
        return "of another book"
    found = entries.hash_at(int(match[2]))
    if found is None:
        return "not in this bundle"
    return "stands in this bundle" if found.hex() == match[3] else "another entry stands there"
