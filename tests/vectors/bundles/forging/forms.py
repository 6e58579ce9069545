"""Lines that are JSON to a lenient reader, but not the one form of it."""

from __future__ import annotations

from tests.vectors.bundles.book import (
    listed,
    small_book,
    unsigned,
)
from tests.vectors.bundles.forging.gathering import (
    BROKEN,
    D1,
    ENTRIES,
    TREE,
    Cases,
    changed,
    joined,
    lines_of,
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
