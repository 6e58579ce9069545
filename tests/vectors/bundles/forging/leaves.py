"""Leaves that are wrong in themselves, and the texts beside them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.vectors.bundles.book import (
    KEEPER,
    altered,
    b64,
    checkpoint_text,
    entry_id,
    jcs,
    listed,
    note,
    sha,
    sign_ed25519,
    sign_p256,
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
    Cases,
    changed,
    joined,
    lines_of,
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
