"""Census, scope and fence."""

from __future__ import annotations

import json

from tests.vectors.bundles.book import (
    KEEPER,
    Book,
    Files,
    checkpoint_text,
    jcs,
    listed,
    note,
    scope,
    small_book,
    unsigned,
)
from tests.vectors.bundles.forging.gathering import (
    BROKEN,
    CENSUS,
    D1,
    D2,
    ENTRIES,
    HEAD,
    SCOPE,
    Cases,
    changed,
)


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
