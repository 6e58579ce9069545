"""Makes the bundles in this folder, good and forged, and cases.json that says what a verifier must answer.

Run from the top of the project: ``python -m tests.vectors.bundles.make``. Nothing here comes from pitbird:
the rules are those of docs/bundle.md, written down a second time.

A case has ``name``, ``what`` (in words), ``file``, ``fingerprint`` (or null), ``known`` (a file, or null),
``papers`` (texts and what is to be said of them), ``answer``, ``faults`` (each [code, file, index]; all of
them must be told) and ``may`` (codes that may be told besides, because one fault makes another likely). Good
cases have a ``report``.

The good bundles, the auditor's checkpoints and cases.json are kept here as they were first made; the forged
ones are made anew for each run of the tests and held to the ``sha256`` that cases.json gives.
"""

# ruff: noqa: E501 (a table of forgeries: what is forged stands beside its name)

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.vectors.bundles import zips
from tests.vectors.bundles.book import (
    FIRST,
    FORMER,
    KEEPER,
    ORIGIN,
    OTHER,
    WITNESS,
    Book,
    Files,
    Key,
    altered,
    b64,
    change_of_key,
    checkpoint_text,
    consistency_json,
    entry_id,
    entry_line,
    jcs,
    large_book,
    listed,
    manifest_text,
    note,
    root,
    scope,
    sha,
    sign_ed25519,
    sign_p256,
    small_book,
    tree_lines,
    unsigned,
)

HERE = Path(__file__).parent
HOLDS, ITSELF, BROKEN, REFUSED = "holds", "consistent in itself", "does not hold", "refused"
D1, D2, C11 = "detector:D-01", "detector:D-02", "cylinder:C-11"
ENTRIES, TREE, CENSUS, SCOPE = "entries.jsonl", "tree.txt", "census.json", "scope.json"
HEAD, LIST, KNOWN = "checkpoint.note", "MANIFEST.note", "consistency.json"
Fault = tuple[str, str | None, int | None]


class Cases:
    """What has been made so far: the files by name, and the cases."""

    def __init__(self) -> None:
        self.files: Files = {}
        self.cases: list[dict[str, Any]] = []

    def case(
        self,
        name: str,
        what: str,
        made: Files | bytes,
        answer: str,
        *faults: Fault,
        may: str = "",
        fingerprint: str | None = KEEPER.fingerprint,
        known: bytes | None = None,
        papers: list[tuple[str, str]] | None = None,
        report: dict[str, Any] | None = None,
    ) -> None:
        """Add a case; its ZIP is stored (not deflated), so that every library makes the same bytes."""
        data = made if isinstance(made, bytes) else zips.write(zips.members(made))
        path = f"{name}.zip"
        assert path not in self.files, path
        self.files[path] = data
        # Libraries deflate differently; what one wrote once is kept.
        digest = None if name == "good-deflated" else sha(data).hex()
        held = None
        if known is not None:
            held = f"known/{sha(known).hex()[:16]}.note"
            self.files[held] = known
        value: dict[str, Any] = {
            "name": name,
            "what": what,
            "file": path,
            "sha256": digest,
            "fingerprint": fingerprint,
            "known": held,
            "papers": [{"text": text, "says": says} for text, says in papers or []],
            "answer": answer,
            "faults": [list(item) for item in faults],
            "may": sorted(may.split()),
        }
        if report is not None:
            value["report"] = report
        self.cases.append(value)

    def good(
        self,
        name: str,
        what: str,
        made: Files | bytes,
        book: Book,
        *,
        answer: str = HOLDS,
        key: Key = KEEPER,
        counts: tuple[int, int, int, int],
        witnesses: tuple[str, ...] = (),
        **more: Any,
    ) -> None:
        entries, subjects, withheld, signed = counts
        report = {
            "origin": ORIGIN,
            "size": len(book.leaves),
            "root": root(book.hashes()).hex(),
            "fingerprint": key.fingerprint,
            "entries": entries,
            "subjects": subjects,
            "withheld": withheld,
            "signed": signed,
            "witnesses": list(witnesses),
        }
        self.case(name, what, made, answer, report=report, **more)


def changed(files: Files, **new: bytes | None) -> Files:
    """The files with some replaced, added or (None) taken away; __ stands for a dot, and ___ for a slash."""
    made = dict(files)
    for name, data in new.items():
        name = name.replace("___", "/").replace("__", ".")
        if data is None:
            del made[name]
        else:
            made[name] = data
    return made


def lines_of(files: Files) -> list[bytes]:
    return files[ENTRIES].split(b"\n")[:-1]


def joined(lines: list[bytes]) -> bytes:
    return b"".join(line + b"\n" for line in lines)


# --- Good bundles


def good_ones(to: Cases) -> None:
    book = large_book()
    everything = dict.fromkeys(book.census(), 1)
    whole = unsigned(book, everything, withhold=[1])
    leaf = book.hashes()
    papers = [
        (f"pitbird-leaf/1 {entry_id(0)} 20 {leaf[20].hex()}", "stands in this bundle"),
        (f"pitbird-leaf/1 {entry_id(0)} 21 {leaf[20].hex()}", "another entry stands there"),
        (f"pitbird-leaf/1 {entry_id(0)} 41 {leaf[20].hex()}", "not in this bundle"),
        (f"pitbird-leaf/1 {entry_id(99)} 20 {leaf[20].hex()}", "of another book"),
        (f"pitbird-leaf/1 {entry_id(0)} 020 {leaf[20].hex()}", "not such a code"),
        (f"pitbird-leaf/1 {entry_id(0)} 20 {leaf[20].hex().upper()}", "not such a code"),
        (f"pitbird-leaf/2 {entry_id(0)} 20 {leaf[20].hex()}", "not such a code"),
        (f"pitbird-leaf/1 main 20 {leaf[20].hex()}", "not such a code"),
        (f"pitbird-leaf/1 {entry_id(0)} 20 {leaf[20].hex()} ...", "not such a code"),
        ("", "not such a code"),
    ]
    to.good(
        "good-whole",
        "the whole book; one name is withheld",
        listed(whole),
        book,
        counts=(41, 9, 1, 2),
        papers=papers,
    )
    deflated = zips.write(zips.members(listed(whole), 8))
    to.good("good-deflated", "the same, deflated", deflated, book, counts=(41, 9, 1, 2))
    one = unsigned(book, {D2: 1})
    shown = " ".join(KEEPER.fingerprint[i : i + 4] for i in range(0, 64, 4)).upper()
    papers = [
        (f"pitbird-leaf/1 {entry_id(0)} 20 {leaf[20].hex()}", "stands in this bundle"),
        (f"pitbird-leaf/1 {entry_id(0)} 21 {leaf[21].hex()}", "not in this bundle"),
        (f"pitbird-leaf/1 {entry_id(0)} 20 {leaf[21].hex()}", "another entry stands there"),
    ]
    to.good(
        "good-one-detector",
        "all entries about one detector; the fingerprint as it is read aloud",
        listed(one),
        book,
        counts=(11, 1, 0, 2),
        fingerprint=shown,
        papers=papers,
    )
    to.good(
        "good-no-fingerprint",
        "the same, and no fingerprint was given",
        listed(one),
        book,
        answer=ITSELF,
        counts=(11, 1, 0, 2),
        fingerprint=None,
    )
    fenced(to, book)
    plain = zips.members(listed(one))
    for part in plain:
        part.method, part.packed = 8, zips.deflated_plainly(part.data)
    to.good(
        "good-deflated-plainly", "deflated without packing", zips.write(plain), book, counts=(11, 1, 0, 2)
    )
    seen = listed(unsigned(book, {D2: 1}, witnesses=(WITNESS,)))
    to.good(
        "good-witness",
        "a witness signed the checkpoint too",
        seen,
        book,
        counts=(11, 1, 0, 2),
        witnesses=(WITNESS.name,),
    )
    to.good(
        "good-manifest-witness",
        "another signature stands under the manifest, of a key that nobody gave",
        listed(one, OTHER, KEEPER),
        book,
        counts=(11, 1, 0, 2),
    )
    old = book.until(30)
    grown = {**one, KNOWN: consistency_json(book, 30)}
    for name, key, made in (
        ("good-consistency", KEEPER, grown),
        ("good-consistency-former-key", FORMER, None),
    ):
        if made is None:
            made = {**grown, "keys/0001.note": change_of_key(1, FORMER, KEEPER)}
        to.good(
            name,
            "the book goes on from an older checkpoint that the auditor holds",
            listed(made),
            book,
            counts=(11, 1, 0, 2),
            known=note(checkpoint_text(old), key),
        )
    to.good(
        "good-known-same",
        "the auditor holds a checkpoint of the same size",
        listed(one),
        book,
        counts=(11, 1, 0, 2),
        known=note(checkpoint_text(book), KEEPER, WITNESS),
    )
    to.good(
        "good-consistency-unread",
        "a consistency.json that no one asks for is not read",
        listed({**one, KNOWN: b"?"}),
        book,
        counts=(11, 1, 0, 2),
    )
    keys = {
        "keys/0001.note": change_of_key(1, FIRST, FORMER),
        "keys/0002.note": change_of_key(2, FORMER, KEEPER),
    }
    for key, told in ((FIRST, "first"), (FORMER, "former"), (KEEPER, "present")):
        to.good(
            f"good-rotation-{told}",
            f"the key changed twice; the auditor holds the {told} one",
            listed({**one, **keys}),
            book,
            counts=(11, 1, 0, 2),
            fingerprint=key.fingerprint,
        )
    single = large_book().until(1)
    to.good(
        "good-single",
        "a book of one entry",
        listed(unsigned(single, {"book:main": 1})),
        single,
        counts=(1, 1, 0, 0),
    )
    little = small_book()
    to.good(
        "good-small",
        "the small book of which the forged ones are made",
        listed(unsigned(little, {D1: 1})),
        little,
        counts=(5, 1, 0, 2),
    )
    to.good(
        "good-loose",
        "entries of which no completeness is claimed",
        listed(unsigned(little, {}, [0, 2, 6])),
        little,
        counts=(3, 0, 0, 1),
    )
    for size in range(1, 7):
        grown = {**unsigned(little, {D1: 1}), KNOWN: consistency_json(little, size)}
        to.good(
            f"good-consistency-{size}",
            f"the small book goes on from {size}",
            listed(grown),
            little,
            counts=(5, 1, 0, 2),
            known=note(checkpoint_text(little.until(size)), KEEPER),
        )
    withheld = listed(unsigned(little, {D1: 1}, withhold=[4, 6]))
    to.good("good-withheld", "both texts are withheld", withheld, little, counts=(5, 1, 2, 2))


def fenced(to: Cases, book: Book) -> None:
    """A period: from the last entry before it on. D-02's is index 20, of 4 March at 06:20; C-11's is index 29."""
    since = "2026-03-05T00:00:00.000Z"
    fence = max(i for i in book.about(D2) if book.leaves[i]["recorded_at"] < since)
    first = book.leaves[fence]["nth"][D2]
    chosen = [i for i in book.about(D2) if i >= fence]
    made = listed(unsigned(book, {D2: first}, chosen, since=since))
    to.good(
        "good-period", "one detector since a day, with the entry before it", made, book, counts=(5, 1, 0, 1)
    )
    since = "2026-03-04T06:21:00.000Z"
    chosen = sorted({i for i in book.about(D2) if i >= 20} | {0, 15})
    assert book.leaves[20]["recorded_at"] < since
    made = listed(unsigned(book, {D2: book.leaves[20]["nth"][D2]}, chosen, since=since))
    to.good(
        "good-period-older-beside",
        "an older entry of the same detector stands there too, out of the claim",
        made,
        book,
        counts=(10, 1, 0, 2),
    )


# --- Changed, dropped, put in


def entries(to: Cases) -> None:
    book = large_book()
    one = unsigned(book, {D2: 1})
    everyone = book.about(D2)  # 6 10 15 20 23 24 26 29 34 38 39
    lines = lines_of(one)
    fail = everyone.index(20)

    def failed_to_passed(leaf: dict[str, Any]) -> None:
        leaf["body"]["outcome"] = "passed"

    bent = altered(book, 20, failed_to_passed)
    line = entry_line(bent, 20)
    made = changed(one, entries__jsonl=joined([*lines[:fail], line[:-1], *lines[fail + 1 :]]))
    to.case(
        "entry-changed",
        "a fail made a pass, nothing else touched",
        {**listed(one), ENTRIES: made[ENTRIES]},
        BROKEN,
        ("file", ENTRIES, None),
        ("leaf", ENTRIES, 20),
    )
    to.case(
        "entry-changed-listed",
        "a fail made a pass, the manifest made anew by the keeper",
        listed(made),
        BROKEN,
        ("leaf", ENTRIES, 20),
    )
    to.case(
        "entry-changed-other-key",
        "a fail made a pass, the manifest signed by somebody else",
        listed(made, OTHER),
        BROKEN,
        ("manifest-signature", LIST, None),
        ("leaf", ENTRIES, 20),
    )
    tree = "".join(tree_lines(bent.hashes(), set(everyone))).encode()
    made = changed(made, tree__txt=tree)
    to.case(
        "entry-changed-hashed",
        "a fail made a pass, everything hashed anew but for the root",
        listed(made),
        BROKEN,
        ("tree", TREE, None),
    )
    made = changed(made, checkpoint__note=note(checkpoint_text(bent), OTHER))
    to.case(
        "entry-changed-root",
        "a fail made a pass, up to a checkpoint that somebody else signed",
        listed(made),
        BROKEN,
        ("checkpoint-signature", HEAD, None),
        may="tree leaf census",
    )
    made = listed(unsigned(bent, {D2: 1}, key=OTHER), OTHER)
    to.case(
        "other-key",
        "a fail made a pass, all of it made anew with another key",
        made,
        BROKEN,
        ("key", "key.txt", None),
    )
    to.good(
        "other-key-no-fingerprint",
        "the same, and no fingerprint to tell",
        made,
        bent,
        answer=ITSELF,
        key=OTHER,
        counts=(11, 1, 0, 2),
        fingerprint=None,
    )
    named = Key("keeper", "book.example/another")
    to.case(
        "other-name",
        "the keeper's key under another name",
        listed(changed(one, key__txt=f"{named.line}\n".encode()), named),
        BROKEN,
        ("manifest-signature", LIST, None),
        ("checkpoint-signature", HEAD, None),
        may="checkpoint",
    )

    to.case(
        "other-name-both",
        "the keeper's key under another name, under which it signed all",
        listed(
            changed(
                one, key__txt=f"{named.line}\n".encode(), checkpoint__note=note(checkpoint_text(book), named)
            ),
            named,
        ),
        BROKEN,
        ("manifest-signature", LIST, None),
        ("checkpoint-signature", HEAD, None),
        may="checkpoint",
    )
    for name, gone in (("dropped", 20), ("dropped-last", 39), ("dropped-first", 6)):
        left = [i for i in everyone if i != gone]
        to.case(
            f"entry-{name}",
            "an entry left out, its tree made without it",
            listed(unsigned(book, {D2: 1}, left)),
            BROKEN,
            ("incomplete", ENTRIES, None),
        )
    left = [i for i in everyone if i != 20]
    made = changed(unsigned(book, {D2: 1}, left), tree__txt=one[TREE])
    to.case(
        "entry-dropped-only",
        "an entry left out, the tree left as it was",
        listed(made),
        BROKEN,
        ("incomplete", ENTRIES, None),
        may="tree leaf",
    )
    closed = book.until(len(book.leaves))
    for i in left:
        closed.leaves[i]["nth"][D2] -= i > 20
    made = unsigned(book, {D2: 1}, left)
    made[ENTRIES] = b"".join(entry_line(closed, i) for i in left)
    to.case(
        "fail-dropped-renumbered",
        "a fail left out, those after it numbered anew",
        listed(made),
        BROKEN,
        ("incomplete", ENTRIES, None),
        *(("leaf", ENTRIES, i) for i in left if i > 20),
    )
    after = {D2: book.leaves[23]["nth"][D2]}
    for name, since in (("no-since", None), ("since", "2026-03-04T00:00:00.000Z")):
        made = unsigned(book, after, left, since=since)
        to.case(
            f"fail-dropped-scope-{name}",
            "a fail left out, the claim begins behind it",
            listed(made),
            BROKEN,
            ("incomplete", ENTRIES, None),
        )
    honest = book.until(len(book.leaves))
    for i in [i for i in everyone if i > 20]:
        honest.leaves[i]["nth"][D2] -= 1
    count = changed(
        one,
        entries__jsonl=b"".join(entry_line(honest, i) for i in left),
        census__json=jcs({**book.census(), D2: 10}),
        tree__txt="".join(tree_lines(book.hashes(), set(left))).encode(),
    )
    to.case(
        "fail-dropped-counted",
        "a fail left out, numbers and census to fit",
        listed(count),
        BROKEN,
        ("census", CENSUS, None),
        *(("leaf", ENTRIES, i) for i in left if i > 20),
        may="incomplete",
    )

    put_in = altered(
        book,
        21,
        lambda leaf: leaf.update(body={**book.leaves[39]["body"], "id": entry_id(77)}, nth={D2: 12, C11: 14}),
    )
    made = unsigned(book, {D2: 1}, [*everyone, 21])
    made[ENTRIES] = b"".join(entry_line(put_in if i == 21 else book, i) for i in sorted([*everyone, 21]))
    to.case(
        "entry-inserted",
        "an entry put in where somebody else's stands",
        listed(made),
        BROKEN,
        ("leaf", ENTRIES, 21),
        may="incomplete entry",
    )
    longer = book.until(41)
    longer.add("bump-test", "2026-03-09T06:20:00.000Z", [D2], outcome="passed")
    made = changed(one, entries__jsonl=one[ENTRIES] + entry_line(longer, 41))
    to.case(
        "entry-behind",
        "an entry put in behind the end of the book",
        listed(made),
        BROKEN,
        ("leaf", ENTRIES, 41),
        ("incomplete", ENTRIES, None),
    )
    swapped = book.until(41)
    swapped.leaves[15], swapped.leaves[20] = swapped.leaves[20], swapped.leaves[15]
    swapped.sealed[15], swapped.sealed[20] = swapped.sealed[20], swapped.sealed[15]
    made = changed(one, entries__jsonl=b"".join(entry_line(swapped, i) for i in everyone))
    to.case(
        "entries-exchanged",
        "two entries in each other's place",
        listed(made),
        BROKEN,
        ("leaf", ENTRIES, 15),
        ("leaf", ENTRIES, 20),
        may="entry incomplete",
    )
    other = [*lines[:2], lines[3], lines[2], *lines[4:]]
    to.case(
        "lines-exchanged",
        "two lines in each other's place",
        listed(changed(one, entries__jsonl=joined(other))),
        BROKEN,
        ("entry", ENTRIES, 15),
        ("tree", TREE, None),
        may="incomplete",
    )
    twice = joined([*lines[:3], lines[2], *lines[3:]])
    to.case(
        "line-twice",
        "a line that stands twice",
        listed(changed(one, entries__jsonl=twice)),
        BROKEN,
        ("entry", ENTRIES, 15),
        ("tree", TREE, None),
        may="incomplete",
    )
    early = altered(book, 38, lambda leaf: leaf.update(recorded_at="2026-03-06T06:20:00.250Z"))
    made = changed(one, entries__jsonl=b"".join(entry_line(early, i) for i in everyone))
    to.case(
        "entry-back-dated", "recorded a day earlier than it was", listed(made), BROKEN, ("leaf", ENTRIES, 38)
    )
    made = changed(one, entries__jsonl=b"", tree__txt=b"", scope__json=scope({}))
    to.case(
        "entries-none", "no entry and no claim", listed(made), BROKEN, ("entry", ENTRIES, None), may="tree"
    )
    made = changed(one, entries__jsonl=b"")
    to.case(
        "entries-emptied",
        "no entry at all",
        listed(made),
        BROKEN,
        ("entry", ENTRIES, None),
        may="tree incomplete",
    )


def dishonest(to: Cases) -> None:
    """Books that are wrong in themselves, signed by their keeper: the hashes all fit."""

    def wrong(
        name: str,
        what: str,
        index: int,
        change: Callable[[dict[str, Any]], Any],
        code: str = "entry",
        may: str = "incomplete",
    ) -> None:
        book = altered(small_book(), index, lambda leaf: change(leaf) and None)
        made = unsigned(book, {D1: 1}, range(7))
        made[CENSUS] = jcs(small_book().census())
        made[HEAD] = note(checkpoint_text(book, made[CENSUS]), KEEPER)
        to.case(f"leaf-{name}", what, listed(made), BROKEN, (code, ENTRIES, index), may=may)

    wrong(
        "id-twice",
        "two entries with one id",
        5,
        lambda leaf: leaf["body"].update(id=entry_id(4)),
        may="incomplete signature",
    )
    wrong(
        "number-twice",
        "two entries with one number about a subject",
        4,
        lambda leaf: leaf.update(nth={D1: 2}),
    )
    wrong("number-back", "a subject's numbers go back", 5, lambda leaf: leaf.update(nth={D1: 1}))
    wrong(
        "id-version",
        "an id that is not a UUID of version 7",
        4,
        lambda leaf: leaf["body"].update(id="0197a000-0000-4000-8000-000000000004"),
    )
    wrong("id-missing", "a body without id", 4, lambda leaf: leaf["body"].pop("id"))
    wrong(
        "day",
        "a day that the calendar does not have",
        4,
        lambda leaf: leaf.update(recorded_at="2026-02-30T06:00:00.000Z"),
    )
    wrong(
        "time", "a time without milliseconds", 4, lambda leaf: leaf["body"].update(at="2026-03-03T06:00:00Z")
    )
    wrong(
        "hour", "an hour that no day has", 4, lambda leaf: leaf["body"].update(at="2026-03-03T24:00:00.000Z")
    )
    wrong("number-zero", "a number below 1", 4, lambda leaf: leaf.update(nth={D1: 0}))
    wrong("number-true", "true for a number", 1, lambda leaf: leaf.update(nth={D1: True}))
    wrong("number-text", "a text for a number", 4, lambda leaf: leaf.update(nth={D1: "3"}))
    wrong("numbers-list", "a list of numbers", 4, lambda leaf: leaf.update(nth=[D1]))
    wrong("version-true", "true for a schema version", 4, lambda leaf: leaf["body"].update(v=True))
    wrong("about-text", "a text for what it is about", 4, lambda leaf: leaf["body"].update(about=D1))
    wrong("signature-text", "a text for a signature", 5, lambda leaf: leaf.update(signature="x"))
    wrong("signature-list", "a list for an algorithm", 5, lambda leaf: leaf["signature"].update(alg=[]))
    wrong("signature-number", "a number for a key", 5, lambda leaf: leaf["signature"].update(key=1))
    wrong(
        "signature-short", "a signature of 63 bytes", 5, lambda leaf: leaf["signature"].update(sig="A" * 84)
    )
    wrong("signature-other", "a key of the other kind", 5, lambda leaf: leaf["signature"].update(alg="ES256"))
    wrong(
        "signature-spelling",
        "a signature in another spelling of base64",
        5,
        lambda leaf: leaf["signature"].update(sig=respelled(leaf["signature"]["sig"])),
    )
    wrong(
        "numbers-other",
        "a number for a subject that the body does not name",
        4,
        lambda leaf: leaf["nth"].update({D2: 9}),
    )
    wrong("numbers-fewer", "no number for a subject that the body names", 6, lambda leaf: leaf["nth"].pop(D1))
    wrong(
        "about-nothing",
        "an entry about nothing",
        4,
        lambda leaf: (leaf["body"].update(about=[]), leaf.update(nth={})),
    )
    wrong("about-twice", "a subject named twice", 4, lambda leaf: leaf["body"].update(about=[D1, D1]))
    wrong(
        "subject",
        "a subject that is none",
        4,
        lambda leaf: (leaf["body"].update(about=[D1, "D-09"]), leaf["nth"].update({"D-09": 1})),
    )
    wrong("kind", "a kind in capitals", 4, lambda leaf: leaf["body"].update(kind="Bump"))
    wrong("version", "a schema version of 0", 4, lambda leaf: leaf["body"].update(v=0))
    wrong("more", "a leaf with a fifth part", 4, lambda leaf: leaf.update(remark="x"))
    wrong("body", "a body that is a text", 4, lambda leaf: leaf.update(body="x"), may="incomplete seal")
    wrong("signature-shape", "a signature without its key", 5, lambda leaf: leaf["signature"].pop("key"))
    wrong(
        "signature-alg",
        "a signature of an unknown kind",
        5,
        lambda leaf: leaf["signature"].update(alg="none"),
    )
    wrong(
        "signature-padded",
        "a signature with padding",
        5,
        lambda leaf: leaf["signature"].update(sig=leaf["signature"]["sig"] + "=="),
    )
    wrong("signature-null", "null for a signature", 4, lambda leaf: leaf.update(signature=None))

    def bad(body: dict[str, Any], sign: Callable[[bytes], dict[str, str]]) -> dict[str, str]:
        return sign(jcs({**body, "outcome": "failed"}))

    wrong(
        "signed-ed25519",
        "a device signed a fail, the book has a pass (Ed25519)",
        5,
        lambda leaf: leaf.update(signature=bad(leaf["body"], sign_ed25519)),
        "signature",
        "",
    )
    wrong(
        "signed-p256",
        "a device signed a fail, the book has a pass (P-256)",
        2,
        lambda leaf: leaf.update(signature=bad(leaf["body"], sign_p256)),
        "signature",
        "",
    )
    wrong(
        "signed-point",
        "a key that is no point of P-256",
        2,
        lambda leaf: leaf["signature"].update(key="BA" + "E" * 85),
        "signature",
        "",
    )
    wrong(
        "signed-zero",
        "a P-256 signature of nothing but zeros",
        2,
        lambda leaf: leaf["signature"].update(sig="A" * 86),
        "signature",
        "",
    )


def respelled(text: str) -> str:
    """The same bytes in base64url with unused bits that are not zero: 64 bytes leave four of them."""
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
    return text[:-1] + alphabet[alphabet.index(text[-1]) + 1]


def texts(to: Cases) -> None:
    """What stands beside the leaf."""
    book = small_book()
    one = unsigned(book, {D1: 1})
    ((name, shown),) = book.sealed[4].items()
    ((other, of_other),) = book.sealed[6].items()
    salt = shown["salt"]
    cases: list[tuple[str, str, Any]] = [
        ("text", "another text than the sealed one", {name: {"salt": salt, "text": "No alarm"}}),
        ("salt", "another salt", {name: {"salt": of_other["salt"], "text": shown["text"]}}),
        (
            "moved",
            "a text whose front was moved into the salt",
            {name: {"salt": b64(sha(b"salt" + b"No alarm\n")[:16] + b"No "), "text": "alarm\n"}},
        ),
        ("exchanged", "the text of another entry", {name: of_other}),
        ("extra", "one text more than the body seals", {name: shown, other: of_other}),
        ("none", "sealed, but empty", {}),
        ("list", "sealed, but a list", [shown]),
        ("shape", "a text without salt", {name: {"text": "No alarm\n"}}),
        ("number", "a number for a text", {name: {"salt": salt, "text": 1}}),
        ("base64", "a salt that is not base64", {name: {"salt": salt.rstrip("="), "text": shown["text"]}}),
        (
            "type",
            "a file without a proper type",
            {name: {"base64": b64(b"No alarm\n"), "salt": salt, "type": "Image"}},
        ),
    ]
    for short, what, value in cases:
        lines = lines_of(one)
        lines[2] = jcs({"index": 4, "leaf": book.leaves[4], "sealed": value})
        to.case(
            f"seal-{short}",
            what,
            listed(changed(one, entries__jsonl=joined(lines))),
            BROKEN,
            ("seal", ENTRIES, 4),
        )


def forms(to: Cases) -> None:
    """Lines that are JSON to a lenient reader, but not the one form of it."""
    book = small_book()
    one = unsigned(book, {D1: 1})
    line = lines_of(one)[2]
    deep = b"[" * 70 + b"]" * 70
    cases = [
        ("key-twice", "a key that stands twice", line.replace(b'"index":4', b'"index":4,"index":4')),
        (
            "key-twice-deep",
            "an outcome that stands twice",
            line.replace(b'"outcome":"failed"', b'"outcome":"passed","outcome":"failed"'),
        ),
        ("space", "a space between", line.replace(b'"index":4', b'"index": 4')),
        (
            "order",
            "keys in another order",
            b'{"leaf":' + line[line.index(b'"leaf":') + 7 : -1] + b',"index":4}',
        ),
        ("escape", "an escape that is not needed", line.replace(b"failed", b"f\\u0061iled")),
        ("slash", "a slash with an escape", line.replace(b"failed", b"fail\\/ed")),
        ("float", "a number with a fraction", line.replace(b'"v":1', b'"v":1.0')),
        ("exponent", "a number with an exponent", line.replace(b'"v":1', b'"v":1e0')),
        ("minus", "minus zero", line.replace(b'"v":1', b'"v":-0')),
        ("large", "a number of 2^53", line.replace(b'"v":1', b'"v":9007199254740992')),
        ("endless", "a number of a thousand digits", line.replace(b'"v":1', b'"v":1' + b"0" * 999)),
        ("nan", "a number that is none", line.replace(b'"v":1', b'"v":NaN')),
        ("key-umlaut", "a key outside ASCII", line.replace(b'"v":1', b'"v":1,"\xc3\xbc":1')),
        ("surrogate", "half a character", line.replace(b"failed", b"\\ud83d")),
        ("utf-8", "bytes that are not UTF-8", line.replace(b"failed", b"f\xffiled")),
        ("deep", "seventy lists in one another", line.replace(b'"v":1', b'"w":' + deep + b',"v":1')),
        ("carriage-return", "a carriage return before the line feed", line + b"\r"),
        ("mark", "a byte order mark", b"\xef\xbb\xbf" + line),
        ("two", "two values on a line", line + line),
        ("empty", "an empty line", b""),
        ("list", "a list", b"[]"),
        ("only-index", "an index without a leaf", b'{"index":4}'),
        ("more", "a key that does not belong there", line.replace(b'"index":4', b'"extra":1,"index":4')),
        ("index-text", "a text for an index", line.replace(b'"index":4', b'"index":"4"')),
        ("index-true", "true for an index", line.replace(b'"index":4', b'"index":true')),
        ("index-minus", "an index below 0", line.replace(b'"index":4', b'"index":-4')),
        ("index-none", "no index", line.replace(b'"index":4,', b"")),
    ]
    for short, what, new in cases:
        lines = lines_of(one)
        assert new != line, short
        lines[2] = new
        to.case(
            f"form-{short}",
            what,
            listed(changed(one, entries__jsonl=joined(lines))),
            BROKEN,
            ("entry", ENTRIES, None),
            ("tree", TREE, None),
            may="incomplete",
        )
    for short, what, leaf in (
        ("leaf-list", "a list for a leaf", "[]"),
        ("leaf-null", "null for a leaf", "null"),
    ):
        lines = lines_of(one)
        lines[2] = b'{"index":4,"leaf":' + leaf.encode() + b"}"
        to.case(
            f"form-{short}",
            what,
            listed(changed(one, entries__jsonl=joined(lines))),
            BROKEN,
            ("entry", ENTRIES, 4),
            may="incomplete leaf",
        )
    for short, what, data in (
        ("cut", "the last line is cut off", one[ENTRIES][:-40]),
        ("no-end", "the last line lacks its line feed", one[ENTRIES][:-1]),
    ):
        to.case(
            f"form-{short}",
            what,
            listed(changed(one, entries__jsonl=data)),
            BROKEN,
            ("entry", ENTRIES, None),
            ("tree", TREE, None),
            may="incomplete",
        )


# --- Census, scope, fence


def counts(to: Cases) -> None:
    book = small_book()
    one = unsigned(book, {D1: 1})
    census = book.census()

    def committed(data: bytes) -> Files:
        return changed(one, census__json=data, checkpoint__note=note(checkpoint_text(book, data), KEEPER))

    fewer = jcs({**census, D1: 4})
    upper = checkpoint_text(book).replace("sha256:", "SHA256:")
    to.case(
        "census-line-other",
        "a checkpoint whose line of a census is of another form",
        listed(changed(one, checkpoint__note=note(upper, KEEPER))),
        BROKEN,
        ("census", CENSUS, None),
        may="incomplete scope",
    )
    to.case(
        "census-changed",
        "a census that counts less",
        listed(changed(one, census__json=fewer)),
        BROKEN,
        ("census", CENSUS, None),
        may="incomplete",
    )
    without = jcs({name: count for name, count in census.items() if name != D1})
    to.case(
        "census-subject-gone",
        "a census without the subject",
        listed(changed(one, census__json=without)),
        BROKEN,
        ("census", CENSUS, None),
        may="incomplete scope",
    )
    to.case(
        "census-higher",
        "the signed census counts more than there are",
        listed(committed(jcs({**census, D1: 6}))),
        BROKEN,
        ("incomplete", ENTRIES, None),
    )
    to.case(
        "census-lower",
        "the signed census counts fewer than there are",
        listed(committed(fewer)),
        BROKEN,
        ("incomplete", ENTRIES, None),
    )
    to.case(
        "census-lacks",
        "the signed census does not know the subject",
        listed(committed(without)),
        BROKEN,
        ("scope", SCOPE, None),
        may="incomplete",
    )
    for short, what, data in (
        ("zero", "a count of 0", jcs({**census, D2: 0})),
        ("text", "a text for a count", jcs({**census, D2: "2"})),
        ("space", "a signed census that is not canonical", json.dumps(census).encode()),
        ("end", "a signed census with a line feed", jcs(census) + b"\n"),
        ("twice", "a signed census that counts a subject twice", jcs(census)[:-1] + b',"detector:D-01":5}'),
        ("list", "a signed census that is a list", b"[]"),
        ("cut", "a signed census that is cut off", jcs(census)[:-5]),
    ):
        to.case(
            f"census-{short}",
            what,
            listed(committed(data)),
            BROKEN,
            ("census", CENSUS, None),
            may="incomplete scope",
        )
    text = checkpoint_text(book)
    bare = "".join(text.splitlines(keepends=True)[:3])
    to.case(
        "census-uncommitted",
        "a checkpoint without a census",
        listed(changed(one, checkpoint__note=note(bare, KEEPER))),
        BROKEN,
        ("census", CENSUS, None),
        may="incomplete scope",
    )
    to.case(
        "census-line-twice",
        "a checkpoint with two lines of a census",
        listed(changed(one, checkpoint__note=note(text + text.splitlines(keepends=True)[3], KEEPER))),
        BROKEN,
        ("checkpoint", HEAD, None),
        may="census tree incomplete scope",
    )
    scopes(to, one)
    fences(to, book)


def scopes(to: Cases, one: Files) -> None:
    good = scope({D1: 1})
    for short, what, data in (
        ("unknown", "a subject of which the book has nothing", scope({D1: 1, "detector:D-99": 1})),
        ("format", "another format", scope({D1: 1}, format="pitbird-bundle/2")),
        ("more", "a key too many", scope({D1: 1}, more=1)),
        ("less", "a key too few", good.replace(b'"since":null,', b"")),
        ("since-day", "a day for a time", scope({D1: 1}, since="2026-03-02")),
        ("since-false", "a day that does not exist", scope({D1: 1}, since="2026-02-29T00:00:00.000Z")),
        ("zero", "a number below 1", scope({D1: 0})),
        ("text", "a text for a number", good.replace(b'"detector:D-01":1', b'"detector:D-01":"1"')),
        ("list", "a list of subjects", good.replace(b'{"detector:D-01":1}', b'["detector:D-01"]')),
        ("array", "a list", b"[]"),
        ("since-number", "a number for a time", scope({D1: 1}, since=1)),
        ("asked-inner", "a number in what was asked", scope({D1: 1}, asked={"detectors": [1]})),
        ("true", "true for a number", good.replace(b'"detector:D-01":1', b'"detector:D-01":true')),
        ("asked", "asked for a number", scope({D1: 1}, asked={"detectors": 1})),
        ("asked-text", "a text for what was asked", scope({D1: 1}, asked="D-01")),
        (
            "twice",
            "a subject that stands twice",
            good.replace(b'"detector:D-01":1', b'"detector:D-01":1,"detector:D-01":1'),
        ),
        ("space", "not canonical", good.replace(b":1}", b": 1}")),
        ("end", "a line feed behind", good + b"\n"),
        ("cut", "cut off", good[:-3]),
        ("empty", "an empty file", b""),
    ):
        to.case(
            f"scope-{short}",
            what,
            listed(changed(one, scope__json=data)),
            BROKEN,
            ("scope", SCOPE, None),
            may="incomplete",
        )
    beyond = scope({D1: 6}, "2026-03-09T00:00:00.000Z")
    to.case(
        "scope-beyond-since",
        "a first number behind the last entry, and a time",
        listed(changed(one, scope__json=beyond)),
        BROKEN,
        ("incomplete", ENTRIES, None),
    )
    to.case(
        "scope-beyond",
        "a first number behind the last entry",
        listed(changed(one, scope__json=scope({D1: 6}))),
        BROKEN,
        ("incomplete", ENTRIES, None),
    )


def fences(to: Cases, book: Book) -> None:
    at = book.leaves[4]["recorded_at"]
    assert book.leaves[4]["nth"][D1] == 3
    for short, since, what in (
        ("same", at, "recorded at that very time"),
        ("late", "2026-03-03T00:00:00.000Z", "recorded after that time"),
        ("none", None, "and no time is given"),
    ):
        made = unsigned(book, {D1: 3}, [4, 5, 6], since=since)
        to.case(
            f"fence-{short}",
            f"the first entry is not the first of all, {what}",
            listed(made),
            BROKEN,
            ("incomplete", ENTRIES, None),
        )
    made = unsigned(book, {D1: 3}, [4, 5, 6], since="2026-03-03T06:00:00.251Z")
    to.good("fence-just", "recorded a millisecond before that time", listed(made), book, counts=(3, 1, 0, 1))


# --- Tree, checkpoint, consistency


def trees(to: Cases) -> None:
    book = small_book()
    one = unsigned(book, {D1: 1})
    lines = one[TREE].splitlines(keepends=True)

    def flipped(line: bytes, at: int) -> bytes:
        return line[:at] + (b"0" if line[at : at + 1] != b"0" else b"1") + line[at + 1 :]

    stranger = small_book().until(7)
    for leaf in stranger.leaves:
        leaf["recorded_at"] = leaf["recorded_at"].replace("250Z", "251Z")
    cases = [
        ("trailing", "a line too many", one[TREE] + lines[-1]),
        ("trailing-feed", "an empty line behind", one[TREE] + b"\n"),
        ("trailing-space", "a space behind", one[TREE] + b" "),
        ("missing", "the last line is missing", b"".join(lines[:-1])),
        ("cut", "cut off in its last line", one[TREE][:-20]),
        ("no-end", "the last line lacks its line feed", one[TREE][:-1]),
        ("empty", "an empty file", b""),
        ("upper", "capital letters in hexadecimal", one[TREE].upper()),
        ("spaces", "two spaces between", one[TREE].replace(b" ", b"  ", 1)),
        ("carriage-return", "carriage returns", one[TREE].replace(b"\n", b"\r\n")),
        ("short", "a hash that is too short", lines[0][1:] + b"".join(lines[1:])),
        ("root-left", "another hash on the left below the root", flipped(lines[0], 5) + b"".join(lines[1:])),
        (
            "root-right",
            "another hash on the right below the root",
            flipped(lines[0], 70) + b"".join(lines[1:]),
        ),
        ("inner", "another hash further down", lines[0] + flipped(lines[1], 5) + b"".join(lines[2:])),
        (
            "other",
            "the tree of another book",
            "".join(tree_lines(stranger.hashes(), set(book.about(D1)))).encode(),
        ),
    ]
    for short, what, data in cases:
        assert data != one[TREE]
        may = "leaf" if short in {"missing", "cut", "no-end"} else ""
        to.case(
            f"tree-{short}", what, listed(changed(one, tree__txt=data)), BROKEN, ("tree", TREE, None), may=may
        )
    single = large_book().until(1)
    made = changed(unsigned(single, {"book:main": 1}), tree__txt=lines[0])
    to.case(
        "tree-single-trailing",
        "a line in the tree of a book of one entry",
        listed(made),
        BROKEN,
        ("tree", TREE, None),
    )
    bent = altered(single, 0, lambda leaf: leaf["body"].update(title="Depot eight"))
    made = changed(unsigned(single, {"book:main": 1}), entries__jsonl=entry_line(bent, 0))
    to.case(
        "tree-single-changed",
        "the one entry of a book of one entry changed",
        listed(made),
        BROKEN,
        ("leaf", ENTRIES, 0),
    )
    heads(to, book, one, stranger)


def heads(to: Cases, book: Book, one: Files, stranger: Book) -> None:
    text = checkpoint_text(book)
    rows = text.splitlines(keepends=True)

    def headed(
        name: str,
        what: str,
        data: bytes,
        code: str = "checkpoint",
        may: str = "tree census incomplete scope leaf",
    ) -> None:
        made = listed(changed(one, checkpoint__note=data))
        to.case(f"checkpoint-{name}", what, made, BROKEN, (code, HEAD, None), may=may)

    headed("other-root", "signed by somebody else", note(text, OTHER), "checkpoint-signature")
    headed("unsigned", "signed by a witness only", note(text, WITNESS), "checkpoint-signature")
    good = note(text, KEEPER)
    headed(
        "cut",
        "cut off in its signature",
        good[:-10],
        may="checkpoint-signature tree census incomplete scope leaf",
    )
    headed(
        "no-end",
        "without its last line feed",
        good[:-1],
        may="checkpoint-signature tree census incomplete scope leaf",
    )
    headed("two", "two notes, one behind the other", note(good.decode() + "\n" + text, KEEPER))
    headed(
        "origin",
        "of another book",
        note(checkpoint_text(stranger, origin="book.example/other"), KEEPER),
        may="checkpoint-signature tree census incomplete scope leaf",
    )
    headed("size-zeros", "a size with a zero before it", note("".join([rows[0], "07\n", *rows[2:]]), KEEPER))
    headed("size-zero", "a size of 0", note("".join([rows[0], "0\n", *rows[2:]]), KEEPER))
    headed(
        "root-short",
        "a root of 31 bytes",
        note("".join([rows[0], rows[1], f"{b64(b'x' * 31)}\n", rows[3]]), KEEPER),
    )
    headed("empty", "an empty file", b"", may="checkpoint-signature tree census incomplete scope leaf")
    headed("control", "a carriage return in it", note(text.replace("\n", "\r\n", 1), KEEPER))
    forged = f"— {ORIGIN} {b64(KEEPER.id + bytes(64))}\n".encode()
    headed(
        "forged",
        "a signature of zeros under the keeper's name",
        (text + "\n").encode() + forged,
        "checkpoint-signature",
    )
    headed(
        "changed",
        "a size changed under a true signature",
        good.replace(b"\n7\n", b"\n8\n"),
        "checkpoint-signature",
    )
    rowed = "checkpoint-signature tree census incomplete scope leaf"
    headed(
        "no-end-two",
        "two signatures, the second without its line feed",
        note(text, KEEPER, WITNESS)[:-1],
        may=rowed,
    )
    headed(
        "hyphen",
        "a hyphen for a dash before a witness's signature",
        note(text, KEEPER, WITNESS).replace("— w".encode(), b"- w"),
        may=rowed,
    )
    headed("parts", "a signature in two parts", note(text, KEEPER, WITNESS)[:-1] + b" AAAA\n", may=rowed)
    headed(
        "name",
        "a witness's name with a plus sign in it",
        note(text, KEEPER, Key("w", "w+itness", 4)),
        may=rowed,
    )
    headed(
        "bell",
        "a control character in a witness's name",
        note(text, KEEPER, Key("w", "w\aitness", 4)),
        may=rowed,
    )
    headed("short", "a signature line without a signature", good + "— w AAAAAA==\n".encode(), may=rowed)
    headed("many", "a hundred and one signatures", good + WITNESS.under(text).encode() * 100, may=rowed)
    headed("rows-two", "no root", note("".join(rows[:2]), KEEPER))
    headed("gap", "an empty line in it", note("".join([*rows, "\n", "more\n"]), KEEPER))
    headed("delete", "a control character in it", note(text + "\x7f\n", KEEPER))
    headed(
        "size-large",
        "a size that no book has",
        note("".join([rows[0], "9999999999999999999\n", *rows[2:]]), KEEPER),
    )
    headed("size-text", "a size in words", note("".join([rows[0], "seven\n", *rows[2:]]), KEEPER))
    headed("root-other", "a root that is not base64", note("".join([*rows[:2], "?\n", rows[3]]), KEEPER))
    made = listed(changed(one, checkpoint__note=note(checkpoint_text(stranger), KEEPER)))
    to.case(
        "checkpoint-of-another",
        "the keeper's checkpoint of another book of the same size",
        made,
        BROKEN,
        ("tree", TREE, None),
    )
    knowns(to, stranger)


def knowns(to: Cases, stranger: Book) -> None:
    book = small_book()
    one = unsigned(book, {D1: 1})
    older, newer = book.until(5), book.until(7)
    newer.add("bump-test", "2026-03-04T06:00:00.000Z", [D1], outcome="failed")
    proof = consistency_json(book, 5)

    def held(name: str, what: str, known: bytes, made: Files) -> None:
        to.case(f"known-{name}", what, listed(made), BROKEN, ("known", KNOWN, None), known=known)

    five = note(checkpoint_text(older), KEEPER)
    with_proof = {**one, KNOWN: proof}
    held("rolled-back", "the auditor holds a newer checkpoint", note(checkpoint_text(newer), KEEPER), one)
    held(
        "rewritten",
        "the auditor holds another checkpoint of this size",
        note(checkpoint_text(stranger), KEEPER),
        one,
    )
    held("unproven", "an older checkpoint, and nothing leads on from it", five, one)
    held(
        "forked",
        "an older checkpoint of which this book is no continuation",
        note(checkpoint_text(stranger.until(5)), KEEPER),
        with_proof,
    )
    held("from-other", "a proof from another size", note(checkpoint_text(book.until(4)), KEEPER), with_proof)
    held(
        "other-book",
        "a checkpoint of another book",
        note(checkpoint_text(older, origin="book.example/other"), KEEPER),
        with_proof,
    )
    held(
        "other-key",
        "a checkpoint that the keeper did not sign",
        note(checkpoint_text(older), OTHER),
        with_proof,
    )
    held(
        "former-key",
        "a checkpoint signed with an earlier key of which nothing tells",
        note(checkpoint_text(older), FORMER),
        with_proof,
    )
    held("no-note", "a text that is no checkpoint", b"five entries\n", with_proof)
    value = json.loads(proof)
    hashes = value["proof"]
    for short, what, data in (
        ("short", "a proof with a hash too few", jcs({**value, "proof": hashes[:-1]}) + b"\n"),
        ("long", "a proof with a hash too many", jcs({**value, "proof": [*hashes, hashes[0]]}) + b"\n"),
        ("turned", "a proof in the wrong order", jcs({**value, "proof": hashes[::-1]}) + b"\n"),
        ("upper", "a proof in capitals", jcs({**value, "proof": [h.upper() for h in hashes]}) + b"\n"),
        ("none", "an empty proof", jcs({**value, "proof": []}) + b"\n"),
        ("text", "a text for a proof", jcs({**value, "proof": ""}) + b"\n"),
        ("list", "a list", b"[]\n"),
        ("to", "a proof to another size", jcs({**value, "to": 8}) + b"\n"),
        ("no-end", "a proof without its line feed", jcs(value)),
        ("space", "a proof that is not canonical", json.dumps(value).encode() + b"\n"),
        ("twice", "a proof with a key twice", b'{"from":4,' + proof[1:]),
        ("more", "a proof with a key too many", jcs({**value, "x": 1}) + b"\n"),
        ("empty", "an empty file", b""),
    ):
        held(f"proof-{short}", what, five, {**one, KNOWN: data})
    turned = book.until(6)
    turned.add("bump-test", "2026-03-04T06:00:00.000Z", [D1], outcome="failed")
    held(
        "rewritten-since",
        "a proof that leads to another end",
        five,
        {**one, KNOWN: consistency_json(turned, 5)},
    )
    first = json.loads(consistency_json(book, 1))
    held(
        "proof-true",
        "true for the size 1",
        note(checkpoint_text(book.until(1)), KEEPER),
        {**one, KNOWN: jcs({**first, "from": True}) + b"\n"},
    )


# --- Manifest, files, keys


def manifests(to: Cases) -> None:
    one = unsigned(small_book(), {D1: 1})
    text = manifest_text(one)
    rows = text.splitlines(keepends=True)

    def refused(name: str, what: str, data: bytes) -> None:
        to.case(f"manifest-{name}", what, {LIST: data, **one}, REFUSED, ("manifest", LIST, None))

    refused(
        "unsorted",
        "two lines in the wrong order",
        note("".join([*rows[:2], rows[3], rows[2], *rows[4:]]), KEEPER),
    )
    refused("twice", "a line that stands twice", note("".join([*rows[:3], rows[2], *rows[3:]]), KEEPER))
    refused(
        "itself", "it lists itself", note("".join([*rows[:2], f"{'0' * 64} 9 {LIST}\n", *rows[2:]]), KEEPER)
    )
    refused("zeros", "a size with a zero before it", note(text.replace(" 50 README", " 050 README"), KEEPER))
    refused("upper", "a hash in capitals", note("".join([*rows[:2], rows[2].upper(), *rows[3:]]), KEEPER))
    refused("format", "another format", note(text.replace("bundle/1", "bundle/2"), KEEPER))
    refused("spaces", "two spaces", note(text.replace(" key.txt", "  key.txt"), KEEPER))
    refused("name", "a name that is not allowed", note(text.replace("README", "../README"), KEEPER))
    refused("origin-none", "no origin", note(text.replace(ORIGIN, ""), KEEPER))
    refused(
        "origin-delete",
        "a control character in the origin",
        note(text.replace(ORIGIN, ORIGIN + "\x7f"), KEEPER),
    )
    refused("rows-one", "nothing but its form", note(rows[0], KEEPER))
    refused("size", "a size in words", note(text.replace(" 50 README", " fifty README"), KEEPER))
    refused("gap", "an empty line", note(text.replace(rows[3], rows[3] + "\n"), KEEPER))
    good = listed(one)[LIST]
    refused("two", "two notes, one behind the other", note(good.decode() + "\n" + text, KEEPER))
    refused("cut", "cut off in its signature", good[:-9])
    refused("no-end", "without its last line feed", good[:-1])
    refused("bare", "without a signature", text.encode())
    refused("control", "carriage returns", good.replace(b"\n", b"\r\n"))
    refused("utf-8", "bytes that are not UTF-8", good.replace(b"README", b"READM\xff"))
    refused("empty", "an empty file", b"")
    for name, what, data in (
        ("other-key", "signed by somebody else under the keeper's name", note(text, OTHER)),
        ("witness", "signed by a witness only", note(text, Key("keeper", ORIGIN, 4))),
        ("forged", "a signature of zeros", (text + f"\n— {ORIGIN} {b64(KEEPER.id + bytes(64))}\n").encode()),
        ("signed-twice", "signed twice with the same key", note(text, KEEPER, KEEPER)),
    ):
        to.case(f"manifest-{name}", what, {LIST: data, **one}, BROKEN, ("manifest-signature", LIST, None))
    origin = {LIST: note(manifest_text(one, "book.example/other"), KEEPER), **one}
    to.case(
        "manifest-origin",
        "the manifest of another book",
        origin,
        BROKEN,
        ("manifest-signature", LIST, None),
        ("checkpoint", HEAD, None),
        may="checkpoint-signature tree census incomplete scope",
    )
    files(to, one)


def files(to: Cases, one: Files) -> None:
    good = listed(one)
    to.case(
        "file-unlisted",
        "a file that the manifest does not list",
        {**good, "papers/more.txt": b"More.\n"},
        BROKEN,
        ("unlisted", "papers/more.txt", None),
    )
    to.case(
        "file-absent",
        "a paper that is not there",
        changed(good, papers___certificate__txt=None),
        BROKEN,
        ("absent", "papers/certificate.txt", None),
    )
    to.case(
        "file-changed",
        "a paper that was changed",
        changed(good, papers___certificate__txt=good["papers/certificate.txt"].replace(b"D-02", b"D-03")),
        BROKEN,
        ("file", "papers/certificate.txt", None),
    )
    to.case(
        "file-longer",
        "a paper with a line more",
        changed(good, README__txt=good["README.txt"] + b"\n"),
        BROKEN,
        ("file", "README.txt", None),
    )
    for name in ("census.json", "checkpoint.note", "entries.jsonl", "key.txt", "scope.json", "tree.txt"):
        left = {other: data for other, data in one.items() if other != name}
        to.case(
            f"missing-{name.replace('.', '-')}",
            "a file that must be there is not",
            listed(left),
            REFUSED,
            ("missing", name, None),
        )
        if name == "key.txt":
            unlisted = {LIST: note(manifest_text(left), KEEPER), **one}
            to.case(
                "file-unlisted-key",
                "the manifest does not list the key",
                unlisted,
                BROKEN,
                ("unlisted", name, None),
            )
    to.case("missing-manifest", "no manifest", one, REFUSED, ("missing", LIST, None))
    for short, name in (
        ("up", "../evil.txt"),
        ("inner-up", "papers/../evil.txt"),
        ("dot", "./evil.txt"),
        ("absolute", "/evil.txt"),
        ("drive", "C:/evil.txt"),
        ("backslash", "papers\\evil.txt"),
        ("double", "papers//evil.txt"),
        ("folder", "papers/"),
        ("umlaut", "pap\u00fcrs.txt"),
        ("space", "a paper.txt"),
        ("nul", "evil.txt\0"),
    ):
        to.case(
            f"name-{short}", f"the name {name!a}", {**good, name: b"evil\n"}, REFUSED, ("name", name, None)
        )
    to.case("name-empty", "a file without a name", {**good, "": b"evil\n"}, REFUSED, ("name", "", None))
    keys(to, one)


def keys(to: Cases, one: Files) -> None:
    line = KEEPER.line
    for short, what, text in (
        ("witness", "a key of a witness", Key("keeper", ORIGIN, 4).line + "\n"),
        ("id", "an id that is not the key's", line.replace(KEEPER.id.hex(), "00000000") + "\n"),
        ("two", "two lines", f"{line}\n{OTHER.line}\n"),
        ("cut", "cut off", line[:-4] + "\n"),
        ("no-end", "without its line feed", line),
        ("space", "a space in place of the line feed", f"{line} "),
        ("name", "a name with a space in it", Key("keeper", "book example").line + "\n"),
        ("name-none", "a key without a name", Key("keeper", "").line + "\n"),
        ("name-plus", "a name with a plus sign in it", Key("keeper", "book+example").line + "\n"),
        ("junk", "no key", "the key is with the keeper\n"),
        ("empty", "an empty file", ""),
    ):
        to.case(
            f"key-{short}",
            what,
            listed(changed(one, key__txt=text.encode())),
            REFUSED,
            ("key", "key.txt", None),
        )
    for short, text in (("short", KEEPER.fingerprint[:-1]), ("letters", "g" * 64), ("empty", "")):
        to.case(
            f"fingerprint-{short}",
            "a fingerprint that is none",
            listed(one),
            REFUSED,
            ("key", "key.txt", None),
            fingerprint=text,
        )
    to.case(
        "fingerprint-former",
        "an earlier key's fingerprint, and nothing leads on from it",
        listed(one),
        BROKEN,
        ("key", "key.txt", None),
        fingerprint=FORMER.fingerprint,
    )
    first, second = change_of_key(1, FIRST, FORMER), change_of_key(2, FORMER, KEEPER)
    named = Key("keeper", "book.example/other")

    def chain(name: str, what: str, place: str, **notes: bytes) -> None:
        made = {**one, **{f"keys/{number.replace('_', '')}.note": data for number, data in notes.items()}}
        to.case(
            f"keys-{name}",
            what,
            listed(made),
            BROKEN,
            ("keys", place, None),
            fingerprint=FIRST.fingerprint,
            may="key keys",
        )

    chain(
        "gap",
        "the change in the middle is missing",
        "keys/0003.note",
        _0001=first,
        _0003=change_of_key(3, OTHER, KEEPER),
    )
    chain("late", "the first change is missing", "keys/0002.note", _0002=second)
    chain(
        "fork",
        "two changes go out from one key",
        "keys/0002.note",
        _0001=first,
        _0002=change_of_key(2, FIRST, KEEPER),
    )
    chain(
        "elsewhere",
        "the last change leads to another key",
        "keys/0002.note",
        _0001=first,
        _0002=change_of_key(2, FORMER, OTHER),
    )
    chain(
        "origin",
        "a change of the key of another book",
        "keys/0001.note",
        _0001=change_of_key(1, FIRST, FORMER, origin="book.example/other"),
        _0002=second,
    )
    chain(
        "name",
        "a change to a key of another name",
        "keys/0002.note",
        _0001=first,
        _0002=change_of_key(2, FORMER, named),
    )
    chain(
        "unsigned-old",
        "a change that the old key did not sign",
        "keys/0001.note",
        _0001=change_of_key(1, FIRST, FORMER, signers=(FORMER,)),
        _0002=second,
    )
    chain(
        "unsigned-new",
        "a change that the new key did not sign",
        "keys/0002.note",
        _0001=first,
        _0002=change_of_key(2, FORMER, KEEPER, signers=(FORMER, OTHER)),
    )
    chain(
        "number",
        "a change with another number than its file",
        "keys/0001.note",
        _0001=change_of_key(2, FIRST, FORMER),
        _0002=second,
    )
    chain(
        "witness",
        "a change to a key of a witness",
        "keys/0002.note",
        _0001=first,
        _0002=change_of_key(2, FORMER, Key("keeper", ORIGIN, 4)),
    )
    chain("junk", "a file that is no note", "keys/0001.note", _0001=b"?", _0002=second)
    chain(
        "other-name",
        "a file of another name in the folder",
        "keys/extra.note",
        _0001=first,
        _0002=second,
        _extra=second,
    )
    made = {**one, "keys/1.note": first}
    to.case(
        "keys-unpadded",
        "a change in a file of another name",
        listed(made),
        BROKEN,
        ("keys", "keys/1.note", None),
        may="key",
    )
    chain(
        "name-old",
        "a change from a key of another name",
        "keys/0001.note",
        _0001=change_of_key(1, Key("the key before that", "book.example/other"), FORMER),
        _0002=second,
    )
    rows = ["pitbird-key/1", ORIGIN, "1", FIRST.line, FORMER.line, "more"]
    chain(
        "more",
        "a change with a line too many",
        "keys/0001.note",
        _0001=note("".join(f"{row}\n" for row in rows), FIRST, FORMER),
        _0002=second,
    )
    chain(
        "form",
        "a change of another form",
        "keys/0001.note",
        _0001=note("".join(f"{row}\n" for row in ["pitbird-key/2", *rows[1:5]]), FIRST, FORMER),
        _0002=second,
    )
    made = {**one, "keys/0001.note": first, "keys/0002.note": second}
    to.case(
        "keys-other",
        "a chain that does not come from the auditor's key",
        listed(made),
        BROKEN,
        ("key", "key.txt", None),
        fingerprint=OTHER.fingerprint,
    )


# --- ZIP


def containers(to: Cases) -> None:
    good = listed(unsigned(small_book(), {D1: 1}))
    paper = "papers/certificate.txt"

    def parts() -> list[zips.Member]:
        return zips.members(good)

    def one_of(name: str = paper) -> tuple[list[zips.Member], zips.Member]:
        made = parts()
        return made, next(part for part in made if part.name == name.encode())

    def bad(name: str, what: str, data: bytes) -> None:
        to.case(f"zip-{name}", what, data, REFUSED, ("zip", None, None))

    plain = zips.write(parts())
    bad("none", "not a ZIP file", b"pitbird-bundle/1\n")
    bad("empty", "an empty file", b"")
    bad("cut", "cut off at its end", plain[:-30])
    bad("cut-byte", "its last byte is missing", plain[:-1])
    bad("cut-half", "only its first half", plain[: len(plain) // 2])
    bad("trailing", "a byte behind the end", zips.write(parts(), after=b"x"))
    bad("leading", "a byte before the beginning", zips.write(parts(), before=b"x"))
    bad("gap", "bytes between files and directory", zips.write(parts(), gap=b"between"))
    bad("comment", "a comment", zips.write(parts(), comment=b"a comment"))
    bad("count", "a file too few counted", zips.write(parts(), count=len(good) - 1))
    bad("disk", "a second disk", zips.write(parts(), disk=1))
    end, first = plain.rindex(b"PK\5\6"), plain.index(b"PK\1\2")
    for name, what, place, other in (
        ("end-sign", "no end of a directory", end, b"PK\6\6"),
        ("end-here", "fewer files on this disk than in all", end + 8, b"\1\0"),
        ("end-length", "a directory that is said to be shorter", end + 12, b"\1\0"),
        ("central-sign", "an entry of the directory with another sign", first, b"PK\1\3"),
        ("central-date", "a file with a date", first + 14, b"\x22\0"),
        ("central-time", "a file with a time of day", first + 12, b"\1\0"),
        ("central-disk", "a file that begins on another disk", first + 34, b"\1\0"),
    ):
        bad(name, what, plain[:place] + other + plain[place + len(other) :])
    far = b"PK\1\2" + bytes(20)
    longer = (
        plain[:end]
        + far
        + plain[end : end + 12]
        + (end - first + 24).to_bytes(4, "little")
        + plain[end + 16 :]
    )
    bad("directory-long", "bytes behind the last entry of the directory", longer)
    more = len(good) + 1
    bad("directory-cut", "a file more counted than the directory has", zips.write(parts(), count=more))
    bad("directory-far", "a directory that lies elsewhere", plain[: end + 16] + bytes(4) + plain[end + 20 :])
    made, part = one_of()
    bad("twice", "a name that stands twice", zips.write([*made, zips.Member(part.name, b"Another paper\n")]))
    hidden = zips.Member(ENTRIES.encode(), b"other entries\n")
    bad(
        "hidden",
        "a file before another that the directory does not name",
        plain_with(parts(), zips.write([hidden])[: 30 + len(hidden.name) + len(hidden.data)]),
    )
    for key, value in (
        ("name", b"papers/certificate.TXT"),
        ("crc", 1),
        ("size", 1),
        ("packed", 1),
        ("method", 8),
        ("flags", 2048),
        ("extra", b"\x01\x00\x00\x00"),
    ):
        made, part = one_of()
        part.local = {key: value}
        bad(f"local-{key}", f"a local header with another {key}", zips.write(made))
    for name, what, field, new in (
        ("crc", "a CRC that does not fit", "crc", 1),
        ("encrypted", "an encrypted file", "flags", 1),
        ("descriptor", "a file with its sizes behind it", "flags", 8),
        ("method", "an unknown method", "method", 12),
        ("extra", "an extra field", "extra", b"\x01\x00\x00\x00"),
        ("file-comment", "a comment of a file", "comment", b"x"),
        ("size", "a stored file of another size", "size", 1),
    ):
        made, part = one_of()
        setattr(part, field, new)
        bad(name, what, zips.write(made))
    plainly = zips.deflated_plainly
    text = good[paper]
    for name, what, packed in (
        ("deflate-trailing", "a byte behind a deflated file", plainly(text) + b"x"),
        ("deflate-cut", "a deflated file that is cut off", plainly(text)[:-1]),
        ("deflate-long", "a deflated file that is longer than it says", plainly(text + b"x")),
        ("deflate-short", "a deflated file that is shorter than it says", plainly(text[:-1])),
        ("deflate-junk", "a deflated file that is none", b"\xff\xff\xff"),
    ):
        made, part = one_of()
        part.method, part.packed = 8, packed
        bad(name, what, zips.write(made))
    bad("overlap", "two names for one file", overlapping(parts()))


def plain_with(parts: list[zips.Member], data: bytes) -> bytes:
    parts[3].here = data
    return zips.write(parts)


def overlapping(parts: list[zips.Member]) -> bytes:
    """The directory's last file is said to begin where the one before it begins."""
    data = zips.write(parts)
    second = data.rindex(b"PK\1\2")
    first = data.rindex(b"PK\1\2", 0, second)
    return data[: second + 42] + data[first + 42 : first + 46] + data[second + 46 :]


def make() -> Cases:
    """All files and cases."""
    to = Cases()
    for part in (good_ones, entries, dishonest, texts, forms, counts, trees, manifests, containers):
        part(to)
    listing = [jcs(case).decode() for case in to.cases]
    to.files["cases.json"] = ("[\n" + ",\n".join(listing) + "\n]\n").encode()
    return to


def kept(files: Files) -> Files:
    """Those of the files that lie in this folder."""
    return {name: data for name, data in files.items() if name.startswith(("good-", "known/", "cases"))}


def main() -> None:
    """Write what is kept beside this file, and take away what is no longer made."""
    files = kept(make().files)
    for path in [*HERE.glob("*.zip"), *HERE.glob("known/*.note")]:
        if path.relative_to(HERE).as_posix() not in files:
            path.unlink()
    for name, data in files.items():
        path = HERE / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(data)


if __name__ == "__main__":
    main()
