"""The export and its verifier: a whole book passes; every forgery is performed and found, with its line."""

import base64
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.record.blob import Blob
from pitbird.record.book import (
    BookReport,
    export_line,
    hash_book,
    header_line,
    read_book,
    trailer_line,
    verify_book,
)
from pitbird.record.canonical import canonical
from pitbird.record.errors import BadSeal, BookBroken, RecordError
from pitbird.record.leaf import Leaf, make_leaf
from pitbird.record.merkle import EMPTY_ROOT, leaf_hash, root_of
from pitbird.record.seal import commit
from tests.record.samples import make_book_1
from tests.record.test_signature import ed25519, es256

SAMPLE = Path(make_book_1.__file__).with_name("book-1.jsonl")
SALTS = [bytes([n]) * 16 for n in range(9)]
NAME, NOTE = b"Mira Tolvanen", b'hood slipped\nonce \xe2\x80\xa8 "again"'
PHOTO = b"\xff\xd8\xff\xe0 not a real photo"


def entry_id(n: int) -> str:
    return f"017f22e2-79b0-7cc3-98c4-{n:012x}"


def entry(n: int, kind: str, *about: str, **fields: Any) -> dict[str, Any]:
    return {
        "kind": kind,
        "v": 1,
        "id": entry_id(n),
        "at": f"2026-03-02T05:0{n}:00.000Z",
        "about": list(about),
        **fields,
    }


BODIES = [
    entry(0, "genesis", "book:main", name=commit(SALTS[0], b"Depot North")),
    entry(1, "detector", "detector:d-07"),
    entry(
        2, "bump-test", "detector:d-07", by=commit(SALTS[1], NAME), more=[{"note": commit(SALTS[2], NOTE)}]
    ),
    entry(
        3, "happened", "detector:d-07", "person:p-2", photo=commit(SALTS[3], PHOTO), by=commit(SALTS[1], NAME)
    ),
    entry(4, "person", "person:p-2"),
]
SEALED: dict[int, dict[str, Blob]] = {
    0: {},
    2: {commit(SALTS[1], NAME): Blob(SALTS[1], NAME), commit(SALTS[2], NOTE): Blob(SALTS[2], NOTE)},
    3: {commit(SALTS[3], PHOTO): Blob(SALTS[3], PHOTO, "image/jpeg")},
}


def leaves(bodies: Iterable[dict[str, Any]], *, signed: bool = True) -> list[Leaf]:
    counts: dict[str, int] = {}
    made: list[Leaf] = []
    for body in bodies:
        nth = {}
        for subject in body["about"]:
            counts[subject] = nth[subject] = counts.get(subject, 0) + 1
        sign: Any = {1: ed25519, 2: es256}.get(len(made)) if signed else None
        made.append(
            make_leaf(
                body,
                recorded_at="2026-03-02T06:00:00.000Z",
                nth=nth,
                signature=sign(canonical(body)) if sign else None,
            )
        )
    return made


def export(made: list[Leaf], sealed: dict[int, dict[str, Blob]] | None = None) -> list[bytes]:
    blobs = SEALED if sealed is None else sealed
    lines = [header_line(made[0].body["id"])]
    lines += [export_line(index, leaf.raw, blobs.get(index)) for index, leaf in enumerate(made)]
    return [*lines, trailer_line(len(made), root_of(leaf.hash for leaf in made))]


LEAVES = leaves(BODIES)
ROOT = root_of(leaf.hash for leaf in LEAVES)
BOOK = export(LEAVES)


def forge(line: int, change: Any) -> list[bytes]:
    """Return the book with one line (counted from 1) put through ``change`` as a JSON value."""
    lines = list(BOOK)
    lines[line - 1] = canonical(change(json.loads(lines[line - 1]))) + b"\n"
    return lines


def resealed(lines: list[bytes]) -> list[bytes]:
    """Return the lines with indices and last line made to fit, as a forger with the program would."""
    values = [json.loads(line) for line in lines[1:-1]]
    raws = [canonical(value["leaf"]) for value in values]
    body = [canonical({**value, "index": index}) + b"\n" for index, value in enumerate(values)]
    return [lines[0], *body, trailer_line(len(raws), root_of(map(leaf_hash, raws)))]


def refused(lines: Iterable[Any], line: int, message: str, **known: Any) -> None:
    with pytest.raises(BookBroken, match=message) as caught:
        verify_book(lines, **known)
    assert caught.value.line == line
    assert str(caught.value).startswith(f"line {line}: ")
    assert caught.value.remedy


# ---- a whole book


def test_a_whole_book_verifies_and_the_report_tells_what_it_holds() -> None:
    assert verify_book(BOOK) == BookReport(
        book=entry_id(0),
        size=5,
        root=ROOT,
        subjects={"book:main": 1, "detector:d-07": 3, "person:p-2": 2},
        withheld=(commit(SALTS[0], b"Depot North"),),
        opened=3,
        signed=2,
    )


def test_the_lines_have_the_form_that_is_documented() -> None:
    assert BOOK[0] == b'{"book":"017f22e2-79b0-7cc3-98c4-000000000000","format":"pitbird-book/1"}\n'
    assert BOOK[2] == b'{"index":1,"leaf":' + LEAVES[1].raw + b"}\n"
    assert BOOK[-1] == b'{"root":"' + ROOT.hex().encode() + b'","size":5}\n'
    assert json.loads(BOOK[3])["sealed"][commit(SALTS[2], NOTE)] == {
        "salt": base64.b64encode(SALTS[2]).decode(),
        "text": NOTE.decode(),
    }
    assert json.loads(BOOK[4])["sealed"][commit(SALTS[3], PHOTO)] == {
        "base64": base64.b64encode(PHOTO).decode(),
        "salt": base64.b64encode(SALTS[3]).decode(),
        "type": "image/jpeg",
    }
    assert all(canonical(json.loads(line)) + b"\n" == line for line in BOOK)


def test_the_entries_are_given_with_their_opened_blobs_and_what_is_withheld() -> None:
    entries = list(read_book(BOOK))
    assert [item.leaf for item in entries] == LEAVES
    assert [item.index for item in entries] == [0, 1, 2, 3, 4]
    assert entries[2].sealed == SEALED[2]
    assert entries[3].sealed == SEALED[3]
    assert entries[0].withheld == (commit(SALTS[0], b"Depot North"),)
    assert entries[3].withheld == (commit(SALTS[1], NAME),)


def test_entries_are_given_as_the_lines_come_so_that_a_large_book_need_not_fit_in_memory() -> None:
    taken: list[int] = []

    def lines() -> Iterable[bytes]:
        for number, line in enumerate(BOOK):
            taken.append(number)
            yield line

    assert next(iter(read_book(lines()))).index == 0
    assert taken == [0, 1]


@pytest.mark.parametrize(
    "carried",
    [
        lambda line: line.decode(),
        lambda line: line.removesuffix(b"\n"),
        lambda line: line.replace(b"\n", b"\r\n"),
        lambda line: line.decode().replace("\n", "\r\n"),
        bytearray,
    ],
    ids=["text", "no line ends", "carriage returns", "text with carriage returns", "bytearray"],
)
def test_line_ends_changed_on_the_way_do_no_harm(carried: Any) -> None:
    assert verify_book(carried(line) for line in BOOK) == verify_book(BOOK)


def test_a_file_in_binary_mode_gives_the_lines(tmp_path: Path) -> None:
    file = tmp_path / "book.jsonl"
    file.write_bytes(b"".join(BOOK))
    with file.open("rb") as lines:
        assert verify_book(lines).root == ROOT


def test_erased_blobs_are_withheld_and_the_book_stays_whole() -> None:
    report = verify_book(export(LEAVES, {}))
    assert (report.root, report.opened) == (ROOT, 0)
    assert report.withheld == (
        commit(SALTS[0], b"Depot North"),
        commit(SALTS[1], NAME),
        commit(SALTS[2], NOTE),
        commit(SALTS[3], PHOTO),
    )


def test_a_blob_given_later_is_not_withheld() -> None:
    name = commit(SALTS[1], NAME)
    report = verify_book(export(LEAVES, {3: {name: Blob(SALTS[1], NAME)}}))
    assert name not in report.withheld
    assert report.opened == 1


@given(st.integers(1, 12), st.data())
def test_any_book_that_was_exported_verifies(size: int, data: st.DataObject) -> None:
    subjects = st.lists(
        st.sampled_from(["detector:a", "detector:b", "person:c"]), min_size=1, max_size=3, unique=True
    )
    bodies = [
        {**entry(0, "note", *data.draw(subjects), text=data.draw(st.text(max_size=5))), "id": entry_id(n)}
        for n in range(size)
    ]
    bodies[0]["kind"] = "genesis"
    made = leaves(bodies, signed=False)
    assert verify_book(export(made, {})).root == root_of(leaf.hash for leaf in made)


# ---- the hashes alone


@pytest.mark.parametrize("signed", [True, False])
@pytest.mark.parametrize("sealed", [SEALED, {}], ids=["with texts", "without texts"])
def test_the_hashes_alone_give_size_and_root(signed: bool, sealed: dict[int, dict[str, Blob]]) -> None:
    book = export(leaves(BODIES, signed=signed), sealed)
    report = verify_book(book)
    assert hash_book(book) == (5, report.root)
    assert hash_book(line.replace(b"\n", b"\r\n") for line in book) == (5, report.root)
    assert hash_book(line.rstrip(b"\n") for line in book) == (5, report.root)


# Beyond 1,024 leaves sub-trees are folded whole; at 10, 100 and 1,000 the index gets a digit more.
@pytest.mark.parametrize("size", [1, 9, 10, 11, 99, 101, 1000, 1023, 1024, 1025, 2048, 2500])
def test_the_hashes_alone_agree_with_the_tree_at_every_length(size: int) -> None:
    raws = [canonical({"about": n, "recorded_at": "2026-03-02T06:00:00.000Z"}) for n in range(size)]
    plain = [b'{"index":%d,"leaf":%b}\n' % (n, raw[:-1] + b"}") for n, raw in enumerate(raws)]
    hashes = [leaf_hash(raw) for raw in raws]
    book = [header_line(entry_id(0)), *plain, trailer_line(size, root_of(hashes))]
    known = {n: root_of(hashes[:n]) for n in (0, 1, 7, 10, 700, 1024, 1500, 2500) if n <= size}
    assert hash_book(book, known_roots=known) == (size, root_of(hashes))
    with pytest.raises(BookBroken):
        hash_book([*book, book[-1]])
    place = size // 2 + 1
    changed = book[place].replace(b'"about":', b'"About":')
    with pytest.raises(BookBroken, match="do not make this size and root") as caught:
        hash_book([*book[:place], changed, *book[place + 1 :]])
    assert caught.value.line == size + 2


@given(st.data())
def test_whatever_changes_a_hash_is_found_by_the_hashes_alone(data: st.DataObject) -> None:
    line = data.draw(st.integers(1, len(BOOK) - 1))
    front = len(b'{"index":0,"leaf":') if line <= 5 else 0
    end = BOOK[line].find(b',"sealed":{"sha256:') if b',"sealed":{"sha256:' in BOOK[line] else -2
    at = data.draw(st.integers(front, len(BOOK[line][:end]) - 1))
    changed = bytearray(BOOK[line])
    changed[at] ^= 1 << data.draw(st.integers(0, 7))
    with pytest.raises(BookBroken):
        hash_book([*BOOK[:line], bytes(changed), *BOOK[line + 1 :]])


@pytest.mark.parametrize(
    ("lines", "line", "message"),
    [
        ([], 1, "the first line is not that of a book"),
        (BOOK[1:], 1, "the first line is not that of a book"),
        (BOOK[:1], 2, "the file ends without the line of root and size"),
        ([BOOK[0], trailer_line(0, EMPTY_ROOT)], 2, "the book has no entries"),
        (BOOK[:-1], 6, "do not make this size and root"),
        ([*BOOK[:-2], BOOK[-1]], 6, "do not make this size and root"),
        ([*BOOK, BOOK[-1]], 8, "do not make this size and root"),
        ([*BOOK[:2], BOOK[3], BOOK[2], *BOOK[4:]], 7, "do not make this size and root"),
        ([*BOOK[:-1], trailer_line(6, ROOT)], 7, "do not make this size and root"),
    ],
)
def test_a_book_whose_lines_do_not_make_its_root_is_refused(
    lines: list[bytes], line: int, message: str
) -> None:
    with pytest.raises(BookBroken, match=message) as caught:
        hash_book(lines)
    assert caught.value.line == line


@pytest.mark.parametrize(
    ("known", "line", "message"),
    [
        ({0: ROOT}, 1, "at 0 entries the book has another root"),
        ({3: ROOT}, 4, "at 3 entries the book has another root"),
        ({5: EMPTY_ROOT}, 6, "at 5 entries the book has another root"),
        ({9: ROOT}, 7, "a checkpoint counts 9 entries, the book holds 5"),
    ],
)
def test_the_hashes_are_held_against_known_roots(known: dict[int, bytes], line: int, message: str) -> None:
    right = {n: root_of(leaf.hash for leaf in LEAVES[:n]) for n in (0, 3, 5)}
    assert hash_book(BOOK, known_roots=right) == (5, ROOT)
    with pytest.raises(BookBroken, match=message) as caught:
        hash_book(BOOK, known_roots=known)
    assert caught.value.line == line


# ---- forgeries


@pytest.mark.parametrize(("line", "at"), [(line, at) for line in range(1, 8) for at in (0, 5, 20, 60)])
def test_one_changed_byte_anywhere_is_found(line: int, at: int) -> None:
    lines = list(BOOK)
    changed = bytearray(lines[line - 1])
    changed[at] ^= 1
    lines[line - 1] = bytes(changed)
    with pytest.raises(BookBroken):
        verify_book(lines)


@given(st.data())
def test_one_flipped_bit_anywhere_is_found(data: st.DataObject) -> None:
    line = data.draw(st.integers(0, len(BOOK) - 1))
    bit = data.draw(st.integers(0, len(BOOK[line]) * 8 - 9))
    changed = bytearray(BOOK[line])
    changed[bit // 8] ^= 1 << bit % 8
    report = None
    try:
        report = verify_book([*BOOK[:line], bytes(changed), *BOOK[line + 1 :]])
    except BookBroken:
        return
    # Only the type of a photo lies outside leaf and commitment: it is a hint.
    assert report.root == ROOT
    assert b'"type":' in changed


def test_a_changed_entry_is_found_by_the_root() -> None:
    lines = forge(6, lambda value: json.loads(json.dumps(value).replace("05:04", "05:09")))
    refused(lines, 7, "the root of the entries is [0-9a-f]{64}, the last line says " + ROOT.hex())


def test_a_changed_entry_with_a_signature_is_found_at_its_line() -> None:
    lines = forge(3, lambda value: json.loads(json.dumps(value).replace("05:01", "05:09")))
    refused(resealed(lines), 3, r"signature\.sig: the signature was not made by this key over this body")


def test_a_dropped_entry_is_found_by_index_by_number_and_by_checkpoint() -> None:
    lines = [*BOOK[:3], *BOOK[4:]]
    refused(lines, 4, "the entry stands at index 2 but says 3")
    refused(resealed(lines), 4, "entry 3 about detector:d-07 stands where its entry 2 belongs")
    without_last = resealed([*BOOK[:5], BOOK[6]])
    assert verify_book(without_last).size == 4
    refused(without_last, 6, "a checkpoint counts 5 entries, the book holds 4", known_roots={5: ROOT})


def test_an_inserted_entry_is_found_by_index_by_number_and_by_checkpoint() -> None:
    extra = make_leaf(
        entry(9, "bump-test", "detector:d-07"),
        recorded_at="2026-03-02T06:00:00.000Z",
        nth={"detector:d-07": 2},
    )
    lines = [*BOOK[:3], export_line(2, extra.raw), *BOOK[3:]]
    refused(lines, 5, "the entry stands at index 3 but says 2")
    refused(resealed(lines), 5, "entry 2 about detector:d-07 stands where its entry 3 belongs")
    unseen = make_leaf(entry(9, "note", "site:s"), recorded_at="2026-03-02T06:00:00.000Z", nth={"site:s": 1})
    lines = resealed([*BOOK[:3], export_line(2, unseen.raw), *BOOK[3:]])
    assert verify_book(lines).size == 6
    refused(lines, 6, "at 5 entries the book has another root than the checkpoint", known_roots={5: ROOT})


def test_reordered_entries_are_found_by_index_by_number_and_by_checkpoint() -> None:
    lines = [*BOOK[:3], BOOK[4], BOOK[3], *BOOK[5:]]
    refused(lines, 4, "the entry stands at index 2 but says 3")
    refused(resealed(lines), 4, "entry 3 about detector:d-07 stands where its entry 2 belongs")
    free = leaves([BODIES[0], BODIES[4], BODIES[1]], signed=False)
    swapped = leaves([BODIES[0], BODIES[1], BODIES[4]], signed=False)
    known = {3: root_of(leaf.hash for leaf in free)}
    assert verify_book(export(free, {}), known_roots=known).size == 3
    refused(export(swapped, {}), 4, "at 3 entries the book has another root", known_roots=known)


def test_a_book_with_another_beginning_is_found_by_a_checkpoint_of_the_empty_and_the_early_book() -> None:
    early = {0: EMPTY_ROOT, 2: root_of(leaf.hash for leaf in LEAVES[:2]), 5: ROOT}
    assert verify_book(BOOK, known_roots=early).size == 5
    refused(BOOK, 0, "at 0 entries the book has another root", known_roots={0: ROOT})
    refused(BOOK, 3, "at 2 entries the book has another root", known_roots={2: ROOT})


def test_an_id_that_stands_twice_is_found() -> None:
    twice = [*BODIES[:4], {**BODIES[4], "id": entry_id(2)}]
    refused(export(leaves(twice)), 6, f"the id {entry_id(2)} stands in the book twice")


def test_a_key_named_twice_is_found_with_its_place() -> None:
    lines = list(BOOK)
    lines[2] = lines[2].replace(b'"v":1', b'"v":1,"v":1')
    refused(lines, 3, r"\$\.leaf\.body: the key 'v' stands twice in one object")


@pytest.mark.parametrize(("number", "wanted"), [(1, 2), (3, 2), (9, 2)], ids=["again", "gap", "far"])
def test_a_running_number_out_of_step_is_found(number: int, wanted: int) -> None:
    bad = make_leaf(BODIES[2], recorded_at="2026-03-02T06:00:00.000Z", nth={"detector:d-07": number})
    lines = export([*LEAVES[:2], bad, *LEAVES[3:]])
    refused(lines, 4, f"entry {number} about detector:d-07 stands where its entry {wanted} belongs")


@pytest.mark.parametrize("kind", ["detector", "note"])
def test_a_book_that_does_not_begin_with_genesis_is_refused(kind: str) -> None:
    refused(
        export(leaves([{**BODIES[0], "kind": kind}])), 2, f"the first entry is of kind {kind}, not genesis"
    )


def test_a_header_that_names_another_book_is_refused() -> None:
    refused(
        [header_line(entry_id(1)), *BOOK[1:]], 2, "the first entry is .*0000, but the header names .*0001"
    )


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda v: {**v, "size": 4}, "the last line counts 4 entries, the file holds 5"),
        (lambda v: {**v, "size": "5"}, "the last line counts '5' entries"),
        (lambda v: {**v, "size": True}, "the last line counts True entries"),
        (lambda v: {**v, "root": "0" * 64}, "the root of the entries is"),
        (lambda v: {**v, "root": ROOT.hex().upper()}, "the root is not 64 hexadecimal digits"),
        (lambda v: {**v, "root": None}, "the root is not 64 hexadecimal digits"),
        (lambda v: {**v, "more": 1}, "the line is neither an entry nor the last line"),
        (lambda v: {"size": 5}, "the line is neither an entry nor the last line"),
    ],
    ids=[
        "count",
        "count as text",
        "count as truth",
        "other root",
        "upper case",
        "no root",
        "extra key",
        "no key",
    ],
)
def test_a_bad_last_line_is_refused(change: Any, message: str) -> None:
    refused(forge(7, change), 7, message)


def test_a_book_cut_short_or_gone_on_with_is_refused() -> None:
    refused([], 1, "the file ends without the line of root and size")
    refused(BOOK[:1], 2, "the file ends without the line of root and size")
    refused(BOOK[:-1], 7, "the file ends without the line of root and size")
    refused([*BOOK, BOOK[-1]], 8, "there is more after the last line")
    refused([*BOOK, b"\n"], 8, "there is more after the last line")
    refused([BOOK[0], trailer_line(0, EMPTY_ROOT)], 2, "the book has no entries")


@pytest.mark.parametrize(
    ("header", "message"),
    [
        (b"", "not JSON"),
        (b"[]", "not a JSON object"),
        (b"{}", "the first line is not that of a book"),
        (b'{"book":1,"format":"pitbird-book/1","more":1}', "the first line is not that of a book"),
        (b'{"book":1,"format":"pitbird-book/2"}', "the format is 'pitbird-book/2', not pitbird-book/1"),
        (b'{"book":1,"format":["pitbird-book/1"]}', "the format is "),
        (b'{"book":1,"format":"pitbird-book/1"}', "the book is not named by the id of its first entry"),
        (b'{"book":"x","format":"pitbird-book/1"}', "the book is not named by the id of its first entry"),
        (b'{"format":"pitbird-book/1", "book":"x"}', "the text is not in canonical form"),
        (BOOK[1], "the first line is not that of a book"),
    ],
)
def test_a_bad_first_line_is_refused(header: bytes, message: str) -> None:
    refused([header, *BOOK[1:]], 1, message)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda v: [v], "not a JSON object"),
        (lambda v: {"index": 1}, "the line is neither an entry nor the last line"),
        (lambda v: {"leaf": v["leaf"]}, "the line is neither an entry nor the last line"),
        (lambda v: {**v, "extra": 1}, "the line is neither an entry nor the last line"),
        (lambda v: {**v, "index": True}, "the entry stands at index 1 but says True"),
        (lambda v: {**v, "index": "1"}, "the entry stands at index 1 but says '1'"),
        (lambda v: {**v, "index": -1}, "the entry stands at index 1 but says -1"),
        (lambda v: {**v, "leaf": None}, r"leaf: \$ is not an object"),
        (lambda v: {**v, "leaf": {**v["leaf"], "extra": 1}}, r"leaf: \$\.extra does not belong"),
        (lambda v: {**v, "sealed": None}, "sealed is not an object with at least one blob"),
        (lambda v: {**v, "sealed": {}}, "sealed is not an object with at least one blob"),
        (lambda v: {**v, "sealed": []}, "sealed is not an object with at least one blob"),
    ],
    ids=range(12),
)
def test_a_line_that_is_no_entry_is_refused(change: Any, message: str) -> None:
    refused(forge(3, change), 3, message)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        (b"\n", "not JSON"),
        (b"\xff\n", "not valid UTF-8"),
        (BOOK[2].replace(b":1,", b": 1,"), "the text is not in canonical form"),
        (BOOK[2].replace(b'"v":1', b'"v":1.0'), r"\$\.leaf\.body\.v: the number 1\.0"),
        (b" " + BOOK[2], "the text is not in canonical form"),
        (BOOK[2] + b"\n", "the text is not in canonical form"),
        (b"[" * 5000 + b"\n", "nested deeper|not JSON"),
    ],
    ids=["empty", "no text", "space inside", "float", "space before", "two line ends", "deep"],
)
def test_a_line_in_another_form_is_refused(line: bytes, message: str) -> None:
    refused([*BOOK[:2], line, *BOOK[3:]], 3, message)


def blob_change(**change: Any) -> list[bytes]:
    name = commit(SALTS[3], PHOTO)
    return forge(5, lambda v: {**v, "sealed": {name: {**v["sealed"][name], **change}}})


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (blob_change(base64=base64.b64encode(b"another photo").decode()), "is not what was recorded"),
        (blob_change(salt=base64.b64encode(SALTS[4]).decode()), "is not what was recorded"),
        (blob_change(salt=base64.b64encode(SALTS[3] + PHOTO[:3]).decode()), "is not what was recorded"),
        (blob_change(salt="AA"), "is neither a text nor a file"),
        (blob_change(base64="AB=="), "is neither a text nor a file"),
        (blob_change(base64="\xfc"), "is neither a text nor a file"),
        (blob_change(base64="A A="), "is neither a text nor a file"),
        (blob_change(type="photo"), "is neither a text nor a file"),
        (blob_change(type=1), "is neither a text nor a file"),
        (blob_change(text="x"), "is neither a text nor a file"),
        (forge(5, lambda v: {**v, "sealed": {commit(SALTS[3], PHOTO): "x"}}), "is neither a text nor a file"),
        (forge(5, lambda v: {**v, "sealed": {commit(SALTS[3], PHOTO): {}}}), "is neither a text nor a file"),
        (
            forge(5, lambda v: {**v, "sealed": {commit(SALTS[3], PHOTO): {"salt": "!", "text": "x"}}}),
            "is neither a text nor a file",
        ),
        (
            forge(5, lambda v: {**v, "sealed": {commit(SALTS[3], PHOTO): {"salt": 1, "text": "x"}}}),
            "is neither a text nor a file",
        ),
        (
            forge(5, lambda v: {**v, "sealed": {commit(SALTS[4], b"x"): {"salt": "AA==", "text": "x"}}}),
            "a blob is given for 'sha256:.*', which the body does not hold",
        ),
        (
            forge(5, lambda v: {**v, "sealed": {"by": {"salt": "AA==", "text": "x"}}}),
            "a blob is given for 'by'",
        ),
    ],
    ids=range(16),
)
def test_a_blob_that_was_not_recorded_is_refused(lines: list[bytes], message: str) -> None:
    refused(lines, 5, message)


def test_a_text_moved_to_another_entry_is_refused() -> None:
    refused(
        forge(3, lambda v: {**v, "sealed": json.loads(BOOK[3])["sealed"]}), 3, "which the body does not hold"
    )


# ---- writing


@pytest.mark.parametrize(
    ("name", "blob", "message"),
    [
        (commit(SALTS[0], b"x"), Blob(SALTS[0], b"y"), "^sealed: the blob does not open 'sha256:"),
        ("x", Blob(SALTS[0], b"x"), "^sealed: the blob does not open 'x'"),
        (
            commit(SALTS[0], b"\xff"),
            Blob(SALTS[0], b"\xff"),
            "^sealed: the text is not UTF-8. Give its media type",
        ),
        (commit(SALTS[0], b"x"), Blob(SALTS[0], b"x", "photo"), "^sealed: 'photo' is not a media type"),
    ],
    ids=["other blob", "no commitment", "not UTF-8", "no type"],
)
def test_a_blob_that_does_not_belong_is_not_written(name: str, blob: Blob, message: str) -> None:
    with pytest.raises(BadSeal, match=message):
        export_line(0, LEAVES[0].raw, {name: blob})


@pytest.mark.parametrize("book", ["main", "", None, entry_id(0).upper()])
def test_a_header_without_the_id_of_an_entry_is_not_written(book: Any) -> None:
    with pytest.raises(RecordError, match=r"^book: .* is not the id of an entry\. Give the id"):
        header_line(book)


# ---- samples kept of every released form


def test_the_kept_sample_of_book_1_is_what_its_generator_writes() -> None:
    assert SAMPLE.read_bytes() == make_book_1.book()


def test_the_kept_sample_of_book_1_still_verifies() -> None:
    with SAMPLE.open("rb") as lines:
        report = verify_book(lines)
    assert report.root.hex() == "f7f1be50eff5afae045b22653490e86230755725b164e25563fae32fc69595a1"
    assert (report.size, report.opened, len(report.withheld), report.signed) == (4, 2, 1, 1)
    assert report.subjects == {"book:b-1": 1, "detector:d-01": 3, "cylinder:c-01": 1}
