"""Entries changed, left out, put in, moved."""

from __future__ import annotations

from typing import Any

from tests.vectors.bundles.book import (
    OTHER,
    Key,
    altered,
    checkpoint_text,
    entry_id,
    entry_line,
    jcs,
    large_book,
    listed,
    note,
    scope,
    tree_lines,
    unsigned,
)
from tests.vectors.bundles.forging.gathering import (
    BROKEN,
    C11,
    CENSUS,
    D2,
    ENTRIES,
    HEAD,
    ITSELF,
    LIST,
    TREE,
    Cases,
    changed,
    joined,
    lines_of,
)


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
