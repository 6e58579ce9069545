"""The ZIP of a bundle, read back by the strict reader and by the standard library, and the manifest."""

import io
import zipfile
from collections.abc import Iterator
from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.papers.bundle import writing
from pitbird.papers.bundle.writing import BundleRefused, Listed, Pile, manifest_text, scope_json
from pitbird.record.archive import Archive

NAMES = st.from_regex(r"[A-Za-z0-9_-][A-Za-z0-9._-]{0,12}(/[A-Za-z0-9_-]{1,8})?", fullmatch=True)


def packed(files: dict[str, bytes], manifest: bytes = b"signed\n") -> bytes:
    out = io.BytesIO()
    with Pile(io.BytesIO) as pile:
        for name, data in files.items():
            pile.add(name, data)
        length = pile.put_together(out, manifest, io.BytesIO)
    assert length == len(out.getvalue())
    return out.getvalue()


@given(st.dictionaries(NAMES.filter(lambda name: name != "MANIFEST.note"), st.binary(max_size=3000)))
def test_both_readers_read_back_what_was_packed_with_the_manifest_first(files: dict[str, bytes]) -> None:
    data = packed(files)
    order = ["MANIFEST.note", *sorted(files, key=str.encode)]
    strict = Archive(io.BytesIO(data))
    assert list(strict.names) == order
    assert {name: b"".join(strict.read(name)) for name in strict.names} == {
        "MANIFEST.note": b"signed\n",
        **files,
    }
    with zipfile.ZipFile(io.BytesIO(data)) as plain:
        assert plain.testzip() is None
        assert plain.namelist() == order
        assert {name: plain.read(name) for name in files} == files


def test_dates_are_the_first_of_1980_and_nothing_lies_beside_the_files() -> None:
    with zipfile.ZipFile(io.BytesIO(packed({"entries.jsonl": b"{}\n" * 500, "a.pdf": b"%PDF" * 9}))) as read:
        for info in read.infolist():
            assert info.date_time == (1980, 1, 1, 0, 0, 0)
            assert (info.extra, info.comment, info.flag_bits) == (b"", b"", 0)
        assert read.getinfo("a.pdf").compress_type == zipfile.ZIP_STORED
        assert read.getinfo("entries.jsonl").compress_type == zipfile.ZIP_DEFLATED
        assert read.comment == b""


def test_the_same_files_in_another_order_and_in_other_pieces_give_the_same_bytes() -> None:
    whole = packed({"b": b"one two " * 4000, "a": b"x"})
    out = io.BytesIO()
    with Pile(io.BytesIO) as pile:
        pile.add("a", [b"x"])
        with pile.file("b") as member:
            for _ in range(4000):
                member.write(b"one ")
                member.write(b"two ")
        pile.put_together(out, b"signed\n", io.BytesIO)
    assert out.getvalue() == whole


def test_the_manifest_lists_digest_size_and_name_sorted_by_bytes() -> None:
    with Pile(io.BytesIO) as pile:
        pile.add("key.txt", b"k")
        pile.add("census.json", b"{}")
        pile.add("README.txt", b"")
        text = pile.manifest("pitbird-book/x")
    digest = {data: sha256(data).hexdigest() for data in (b"k", b"{}", b"")}
    assert text == (
        "pitbird-bundle/1\npitbird-book/x\n"
        f"{digest[b'']} 0 README.txt\n{digest[b'{}']} 2 census.json\n{digest[b'k']} 1 key.txt\n"
    )


def test_upper_case_comes_before_lower_case_as_the_bytes_do() -> None:
    text = manifest_text("o", [Listed("a", "0" * 64, 1), Listed("B", "1" * 64, 1)])
    assert text.splitlines()[2:] == [f"{'1' * 64} 1 B", f"{'0' * 64} 1 a"]


@pytest.mark.parametrize(
    "name", ["../a", "a//b", "/a", "a b", "é", ".a", "MANIFEST.note", "twice", "a" * 201]
)
def test_a_name_that_a_bundle_cannot_have_is_refused(name: str) -> None:
    with Pile(io.BytesIO) as pile:
        pile.add("twice", b"")
        with pytest.raises(ValueError, match="cannot be the name"):
            pile.add(name, b"")


def test_more_than_a_zip_can_hold_is_refused_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writing, "MAX_SIZE", 1000)
    with Pile(io.BytesIO) as pile, pytest.raises(BundleRefused, match="shorter period"):
        pile.add("entries.jsonl", b"x" * 1001)
    monkeypatch.setattr(writing, "MAX_SIZE", writing.PIECE)
    with Pile(io.BytesIO) as pile:
        pile.add("a.pdf", b"x" * 20)
        with pytest.raises(BundleRefused, match="shorter period"):
            pile.put_together(io.BytesIO(), b"", io.BytesIO)


def test_the_buffers_are_closed_whatever_happens() -> None:
    made: list[io.BytesIO] = []

    def new() -> io.BytesIO:
        made.append(io.BytesIO())
        return made[-1]

    def broken() -> Iterator[bytes]:
        yield b"1"
        raise RuntimeError

    with Pile(new) as pile, pytest.raises(RuntimeError):
        pile.add("a", broken())
    assert len(made) == 1
    assert made[0].closed


def test_the_scope_is_canonical_json_of_exactly_four_keys() -> None:
    # docs/bundle.md, scope.json
    made = scope_json(
        {"detectors": ("D-017",), "from": "2026-01-01", "people": [], "sites": [], "until": "2026-11-24"},
        since="2026-01-01T00:00:00.000Z",
        subjects={"detector:D-017": 212, "cylinder:C-004": 1},
    )
    assert made == (
        b'{"asked":{"detectors":["D-017"],"from":"2026-01-01","people":[],"sites":[],"until":"2026-11-24"},'
        b'"format":"pitbird-bundle/1","since":"2026-01-01T00:00:00.000Z",'
        b'"subjects":{"cylinder:C-004":1,"detector:D-017":212}}'
    )
