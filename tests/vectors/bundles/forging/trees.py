"""Tree, checkpoint, and the checkpoint that the auditor holds."""

from __future__ import annotations

import json

from tests.vectors.bundles.book import (
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
    checkpoint_text,
    consistency_json,
    entry_line,
    jcs,
    large_book,
    listed,
    note,
    small_book,
    tree_lines,
    unsigned,
)
from tests.vectors.bundles.forging.gathering import (
    BROKEN,
    D1,
    ENTRIES,
    HEAD,
    KNOWN,
    TREE,
    Cases,
    changed,
)


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
