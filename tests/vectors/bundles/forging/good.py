"""Bundles with which nothing is wrong."""

# ruff: noqa: E501 (a table of forgeries: what is forged stands beside its name)

from __future__ import annotations

from tests.vectors.bundles import zips
from tests.vectors.bundles.book import (
    FIRST,
    FORMER,
    KEEPER,
    OTHER,
    WITNESS,
    Book,
    change_of_key,
    checkpoint_text,
    consistency_json,
    entry_id,
    large_book,
    listed,
    note,
    small_book,
    unsigned,
)
from tests.vectors.bundles.forging.gathering import (
    D1,
    D2,
    ITSELF,
    KNOWN,
    Cases,
)


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
