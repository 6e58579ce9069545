"""The verifier inside a bundle, run on every good and forged bundle, and beside the book's own code."""

from __future__ import annotations

import ast
import io
import json
import struct
import subprocess
import sys
import tracemalloc
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.papers.bundle import verify
from pitbird.record import canonical as book_canonical
from pitbird.record.errors import ProofRefused, RecordError
from pitbird.record.leaf import leaf_of
from pitbird.record.merkle import verify_consistency
from pitbird.record.note import read_note, read_verifier_key
from tests.record.test_merkle import CT_CONSISTENCY, CT_ROOTS, OTHER
from tests.record.vectors import make_merkle
from tests.vectors.bundles import fuzz
from tests.vectors.bundles.book import (
    KEEPER,
    ORIGIN,
    Book,
    b64,
    consistency,
    jcs,
    listed,
    note,
    root,
    sha,
    small_book,
    unsigned,
)
from tests.vectors.bundles.cases import Case, case_named, cases, check, good_cases
from tests.vectors.bundles.zips import Member, deflated, members, write

PROGRAM = Path(verify.__file__)
YES = {"holds", "consistent in itself"}


def told_of(case: Case) -> dict[str, Any]:
    papers = [text for text, _ in case.papers]
    return verify.verify(io.BytesIO(case.data), case.fingerprint, case.known, papers)


def answer(data: bytes, fingerprint: str | None = KEEPER.fingerprint, known: bytes | None = None) -> str:
    told = verify.verify(io.BytesIO(data), fingerprint, known)
    assert not any("unexpected" in fault["what"] for fault in told["faults"]), told["faults"]
    return str(told["answer"])


def run(*arguments: object) -> subprocess.CompletedProcess[str]:
    """The file on its own, apart from this environment's paths."""
    words = [sys.executable, "-I", str(PROGRAM), *map(str, arguments)]
    return subprocess.run(words, capture_output=True, text=True, check=False)


def unpacked(data: bytes, folder: Path) -> Path:
    with zipfile.ZipFile(io.BytesIO(data)) as opened:
        opened.extractall(folder)
    return folder


# --- Every case


@pytest.mark.parametrize("case", cases(), ids=str)
def test_every_bundle_is_answered_as_the_vectors_say(case: Case) -> None:
    told = told_of(case)
    check(case, told)
    if case.answer != "refused":
        assert [item["found"] for item in told["papers"]] == [says for _, says in case.papers]
    assert not any("unexpected" in fault["what"] for fault in told["faults"])


@pytest.mark.parametrize("case", good_cases(), ids=str)
def test_the_unpacked_files_are_answered_as_the_zip_is(case: Case, tmp_path: Path) -> None:
    check(case, verify.verify(str(unpacked(case.data, tmp_path)), case.fingerprint, case.known))


def test_a_changed_a_missing_and_a_further_file_in_a_folder_are_told(tmp_path: Path) -> None:
    folder = unpacked(case_named("good-one-detector").data, tmp_path)
    (folder / "README.txt").write_bytes(b"Another text\n")
    (folder / "papers" / "certificate.txt").unlink()
    (folder / "papers" / "more.txt").write_bytes(b"")
    faults = verify.verify(str(folder), KEEPER.fingerprint)["faults"]
    assert sorted((fault["code"], fault["file"]) for fault in faults) == [
        ("absent", "papers/certificate.txt"),
        ("file", "README.txt"),
        ("unlisted", "papers/more.txt"),
    ]


def test_a_link_in_a_folder_is_refused(tmp_path: Path) -> None:
    folder = unpacked(case_named("good-one-detector").data, tmp_path / "bundle")
    (tmp_path / "elsewhere.txt").write_bytes((folder / "README.txt").read_bytes())
    (folder / "README.txt").unlink()
    (folder / "README.txt").symlink_to(tmp_path / "elsewhere.txt")
    told = verify.verify(str(folder), KEEPER.fingerprint)
    assert (told["answer"], told["faults"][0]["code"]) == ("refused", "name")


# --- The command


@pytest.mark.parametrize(
    ("name", "status", "words"),
    [
        ("good-one-detector", 0, "The bundle HOLDS"),
        ("entry-changed", 1, "The bundle DOES NOT HOLD"),
        ("zip-cut", 2, "REFUSED"),
        ("good-no-fingerprint", 3, "CONSISTENT IN ITSELF, no more"),
    ],
)
def test_the_file_runs_on_its_own_and_its_exit_status_says_the_answer(
    name: str, status: int, words: str, tmp_path: Path
) -> None:
    case = case_named(name)
    bundle = tmp_path / "bundle.zip"
    bundle.write_bytes(case.data)
    key = [] if case.fingerprint is None else ["--key", case.fingerprint]
    plain, as_json = run(bundle, *key), run(bundle, *key, "--json")
    assert (plain.returncode, as_json.returncode) == (status, status)
    assert words in plain.stdout
    assert (plain.stderr, as_json.stderr) == ("", "")
    check(case, json.loads(as_json.stdout))


def test_what_is_complete_since_when_and_what_it_does_not_show_are_said(tmp_path: Path) -> None:
    (tmp_path / "bundle.zip").write_bytes(case_named("good-period").data)
    said = run(tmp_path / "bundle.zip", "--key", KEEPER.fingerprint).stdout.splitlines()
    since = "2026-03-05T00:00:00.000Z"
    assert f"  Complete  1 subject, all its entries recorded since {since} and the one before" in said
    assert "            detector:D-02 from its number 7 on" in said
    assert said[-1] == "This shows what the book says, not that what was written down is true."


def test_where_nothing_is_claimed_to_be_complete_it_says_so() -> None:
    said = verify.in_words(told_of(case_named("good-loose")))
    assert "  Complete  no subject: of none is it shown that nothing is missing\n" in said


def test_papers_and_a_known_checkpoint_are_taken_from_the_command_line(tmp_path: Path) -> None:
    case = case_named("good-consistency")
    assert case.known is not None
    (tmp_path / "bundle.zip").write_bytes(case.data)
    (tmp_path / "known.note").write_bytes(case.known)
    arguments = ["--key", case.fingerprint, "--known", tmp_path / "known.note", "--paper", "a", "b", "--json"]
    ended = run(tmp_path / "bundle.zip", *arguments)
    assert ended.returncode == 0
    assert json.loads(ended.stdout)["papers"] == [{"code": text, "found": "not such a code"} for text in "ab"]
    (tmp_path / "known.note").write_bytes(b"none")
    assert run(tmp_path / "bundle.zip", *arguments).returncode == 1


@pytest.mark.parametrize("arguments", [[], ["nowhere.zip"], ["nowhere.zip", "--known", "nowhere.note"]])
def test_nothing_to_read_ends_with_2_and_a_word(arguments: list[str]) -> None:
    ended = run(*arguments)
    assert ended.returncode == 2
    assert ended.stdout + ended.stderr
    assert "Traceback" not in ended.stderr


def test_words_for_a_terminal_hold_no_control_characters() -> None:
    book = small_book()
    subject = "detector:\x1b[2J"
    census = jcs({**book.census(), subject: 1})
    made = unsigned(book, {"detector:D-01": 1, subject: 1})
    made["census.json"] = census
    told = verify.verify(io.BytesIO(write(members(listed(made)))), KEEPER.fingerprint, None, ["\x1b[2J"])
    said = verify.in_words(told)
    assert said.isascii()
    assert all(sign == "\n" or sign.isprintable() for sign in said)


def test_it_needs_the_standard_library_and_cryptography_only_and_reads_as_python_3_8() -> None:
    source = PROGRAM.read_text(encoding="utf-8")
    tree = ast.parse(source, feature_version=(3, 8))
    names = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    names |= {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    roots = {name.split(".")[0] for name in names} - set(sys.stdlib_module_names)
    assert roots == {"cryptography"}
    for since_39 in (".removeprefix(", ".removesuffix(", ".bit_count(", "zoneinfo", "strict="):
        assert since_39 not in source


def test_a_fault_of_one_code_is_told_a_hundred_times_and_no_more() -> None:
    book = Book()
    for number in range(150):
        book.add("note", f"2026-03-02T06:{number % 60:02d}:00.000Z", ["detector:D-01"], why=str(number))
    made = unsigned(book, {"detector:D-01": 1})
    made["entries.jsonl"] = made["entries.jsonl"].replace(b'"v":1', b'"v":2')
    told = verify.verify(io.BytesIO(write(members(listed(made)))), KEEPER.fingerprint)
    assert [fault["code"] for fault in told["faults"]] == ["leaf"] * 100


# --- Against the book's own code, which another hand wrote


def outcome(read: Callable[[], object]) -> object:
    try:
        return read()
    except (verify.Bad, RecordError):
        return "refused"


json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**54), 2**54) | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner, max_size=4),
    max_leaves=20,
)


@given(json_values)
def test_the_same_values_have_the_same_canonical_form(value: object) -> None:
    try:
        wanted = book_canonical.canonical(value)
    except RecordError:
        text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        assert outcome(lambda: verify.canonical(text.encode("utf-8", "surrogatepass"))) == "refused"
    else:
        assert verify.written(value) == wanted
        assert verify.canonical(wanted) == value


@given(json_values, st.data())
def test_the_same_texts_are_taken_for_canonical(value: object, data: st.DataObject) -> None:
    text = json.dumps(
        value,
        sort_keys=data.draw(st.booleans()),
        ensure_ascii=data.draw(st.booleans()),
        separators=data.draw(st.sampled_from([(",", ":"), (", ", ": ")])),
    ).encode("utf-8", "surrogatepass")
    place = data.draw(st.integers(0, len(text)))
    text = data.draw(st.sampled_from([text, text[:place] + data.draw(st.binary(max_size=2)) + text[place:]]))
    assert outcome(lambda: verify.canonical(text)) == outcome(lambda: book_canonical.parse_canonical(text))


@pytest.mark.parametrize("depth", [63, 64, 65, 5000, 200_000])
def test_the_same_depth_is_too_deep(depth: int) -> None:
    text = b"[" * depth + b"]" * depth
    assert (outcome(lambda: verify.canonical(text)) == "refused") == (
        outcome(lambda: book_canonical.parse_canonical(text)) == "refused"
    )
    assert (outcome(lambda: verify.canonical(text)) == "refused") == (depth > 64)


def paths_in(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(found for key, item in inner for found in paths_in(item, (*path, key)))]


@given(st.data())
def test_the_same_leaves_are_of_their_form(data: st.DataObject) -> None:
    leaf = json.loads(jcs(data.draw(st.sampled_from(small_book().leaves))))
    *front, last = data.draw(st.sampled_from(paths_in(leaf)[1:]))
    place = leaf
    for step in front:
        place = place[step]
    odd: list[Any] = [None, True, 0, 1, 2, "", "x", "detector:D-01", [], ["detector:D-01"], {}]
    odd += ["2026-02-29T00:00:00.000Z", "2028-02-29T00:00:00.000Z", "0000-01-01T00:00:00.000Z"]
    if data.draw(st.booleans()):
        place[last] = data.draw(st.sampled_from(odd))
    elif isinstance(place, dict):
        place[data.draw(st.sampled_from(["extra", "signature", "detector:D-09"]))] = place.pop(last)
    else:
        place.append(place[last])
    assert (verify.form_of_leaf(leaf) == []) == (outcome(lambda: leaf_of(leaf)) != "refused")


@given(st.data())
def test_the_same_notes_are_of_their_form(data: st.DataObject) -> None:
    good = note(f"{ORIGIN}\n7\ntext\n", KEEPER)
    place = data.draw(st.integers(0, len(good)))
    new = data.draw(
        st.binary(max_size=2) | st.sampled_from([b"\n", b"\n\n", " \u2014 ".encode(), b"\xc2\x85"])
    )
    text = good[:place] + new + good[data.draw(st.integers(place, min(place + 2, len(good)))) :]
    assert (outcome(lambda: verify.read_note(text)) == "refused") == (
        outcome(lambda: read_note(text)) == "refused"
    )
    key = data.draw(st.text(max_size=3)) + KEEPER.line[data.draw(st.integers(0, 3)) :]
    assert (outcome(lambda: verify.read_key(key)) == "refused") == (
        outcome(lambda: read_verifier_key(key)) == "refused"
    )


def test_proofs_of_consistency_hold_for_all_small_trees_and_no_others() -> None:
    """The proofs are made word for word by RFC 9162, section 2.1.4.1; each is then bent in simple ways."""
    leaves = [sha(bytes([number])) for number in range(20)]
    stranger = sha(b"stranger")
    for size in range(1, 21):
        new = root(leaves[:size])
        for old_size in range(1, size + 1):
            old = root(leaves[:old_size])
            proof = consistency(old_size, leaves[:size])
            assert verify.goes_on(old_size, old, size, new, proof)
            bent = [[*proof, stranger], [*proof, old], [stranger, *proof]]
            bent += [[*proof[:at], stranger, *proof[at + 1 :]] for at in range(len(proof))]
            bent += [[*proof[:at], *proof[at + 1 :]] for at in range(len(proof))]
            for other in bent:
                assert not verify.goes_on(old_size, old, size, new, other)
            assert not verify.goes_on(old_size, stranger, size, new, proof)
            assert not verify.goes_on(old_size, old, size, stranger, proof)
            for other_size in {*range(size + 3)} - {old_size}:
                told = verify.goes_on(other_size, old, size, new, proof)
                assert told == book_says(other_size, old, size, new, proof)
                assert not told


def test_forged_proofs_of_the_record_are_refused_and_true_ones_taken() -> None:
    for case in json.loads(make_merkle.HERE.read_text("ascii"))["consistency"]:
        sizes = [int(case[name]) for name in ("old_size", "new_size")]
        roots = [bytes.fromhex(case[name]) for name in ("old_root", "new_root")]
        proof = [bytes.fromhex(each) for each in case["proof"]]
        told = verify.goes_on(sizes[0], roots[0], sizes[1], roots[1], proof)
        # A checkpoint counts at most 2^63 - 1 entries and its root is a hash; the reader of it sees to that.
        if sizes[1] < 2**63 and all(len(root) == 32 for root in roots):
            assert told is case["holds"], (case["base"], case["done"])


@pytest.mark.parametrize(("old", "new"), CT_CONSISTENCY)
def test_the_published_proofs_of_certificate_transparency_hold_and_its_probes_do_not(
    old: int, new: int
) -> None:
    """The reference tree and probes of transparency-dev/merkle, proof/verify_test.go, as in tests/record."""
    proof = [bytes.fromhex(text) for text in CT_CONSISTENCY[old, new]]
    roots = CT_ROOTS[old], CT_ROOTS[new]
    assert verify.goes_on(old, roots[0], new, roots[1], proof)
    for size in (-1, 0, old - 1, old + 1, old ^ 2, old * 2, new + 1, 2**63):
        assert size == old or not verify.goes_on(size, roots[0], new, roots[1], proof), size
    for size in (-1, 0, new - 1, new * 2, new // 2, old - 1):
        # A proof for 8 has the shape of one for 7, and the sizes come from the signed texts.
        told = verify.goes_on(old, roots[0], size, roots[1], proof)
        assert told == book_says(old, roots[0], size, roots[1], proof), size
    for other in (b"", sha(b""), OTHER):
        assert not verify.goes_on(old, other, new, roots[1], proof)
        assert not verify.goes_on(old, roots[0], new, other, proof)
    bent = [[OTHER, *proof], [*proof, OTHER], [*proof, b""], [b"", *proof], proof[:-1], [*proof, *proof]]
    for probe in [*bent, [roots[0], *proof], [*proof, roots[1]], [bytes(31)] * len(proof), proof[::-1]]:
        assert probe == proof or not verify.goes_on(old, roots[0], new, roots[1], probe), probe


def book_says(old_size: int, old: bytes, size: int, new: bytes, proof: list[bytes]) -> bool:
    try:
        verify_consistency(old_size=old_size, new_size=size, old_root=old, new_root=new, proof=proof)
    except ProofRefused:
        return False
    return True


@given(st.integers(0, 70), st.integers(0, 70), st.lists(st.integers(0, 12), max_size=9))
def test_proofs_are_judged_as_the_book_judges_them(old: int, new: int, picks: list[int]) -> None:
    leaves = [sha(bytes([number])) for number in range(new)] or [b""]
    pool = [sha(b""), root(leaves), *leaves[:4], *(consistency(old, leaves) if 0 < old < new else [])]
    proof = [pool[pick % len(pool)] for pick in picks]
    for given_proof in (proof, consistency(old, leaves) if 0 < old < new else []):
        for old_root in (sha(b""), root(leaves[:old]) if 0 < old <= new else pool[2]):
            told = verify.goes_on(old, old_root, new, root(leaves), given_proof)
            assert told == (new > 0 and book_says(old, old_root, new, root(leaves), given_proof)) or new == 0


# --- One byte changed


def test_the_bundle_that_is_bent_holds_unbent() -> None:
    assert answer(fuzz.packed(listed(fuzz.plain_files())), fuzz.FINGERPRINT, fuzz.known()) == "holds"


@pytest.mark.parametrize("file", fuzz.EVIDENCE)
def test_a_byte_changed_in_the_evidence_is_never_answered_with_yes(file: str) -> None:
    for what, data in fuzz.changed_evidence(file, step=13):
        assert answer(data, fuzz.FINGERPRINT, fuzz.known()) not in YES, what


def test_a_byte_changed_in_the_zip_is_never_answered_with_yes_unless_the_files_are_the_same() -> None:
    for what, data, same in fuzz.changed_zip(step=17):
        assert same or answer(data, fuzz.FINGERPRINT, fuzz.known()) not in YES, what


@pytest.mark.slow
@pytest.mark.parametrize("file", fuzz.EVIDENCE)
def test_no_byte_changed_in_the_evidence_is_ever_answered_with_yes(file: str) -> None:
    for what, data in fuzz.changed_evidence(file):
        assert answer(data, fuzz.FINGERPRINT, fuzz.known()) not in YES, what


@pytest.mark.slow
def test_no_byte_changed_in_the_zip_is_ever_answered_with_yes_unless_the_files_are_the_same() -> None:
    for what, data, same in fuzz.changed_zip():
        assert same or answer(data, fuzz.FINGERPRINT, fuzz.known()) not in YES, what


@given(st.binary(max_size=200))
def test_any_bytes_are_refused_and_break_nothing(data: bytes) -> None:
    assert answer(data) == "refused"


@given(st.data())
def test_a_bundle_bent_in_several_places_breaks_nothing(data: st.DataObject) -> None:
    files = listed(fuzz.plain_files())
    name = data.draw(st.sampled_from(fuzz.EVIDENCE))
    text = files[name]
    for _ in range(data.draw(st.integers(1, 4))):
        at, until = sorted((data.draw(st.integers(0, len(text))), data.draw(st.integers(0, len(text)))))
        text = data.draw(st.sampled_from([text[:at] + text[until:], text[:until] + text[at:]]))
    if text != files[name]:
        assert answer(fuzz.packed({**files, name: text}), fuzz.FINGERPRINT, fuzz.known()) not in YES


# --- Large ones


def test_a_deflated_file_that_grows_beyond_its_size_is_refused_before_it_fills_the_memory() -> None:
    parts = members(listed(unsigned(small_book(), {"detector:D-01": 1})))
    bomb = Member(b"papers/bomb.txt", b"x")
    bomb.method, bomb.packed = 8, deflated(bytes(64_000_000))
    tracemalloc.start()
    try:
        assert answer(write([*parts, bomb])) == "refused"
        assert tracemalloc.get_traced_memory()[1] < 8_000_000
    finally:
        tracemalloc.stop()


def test_a_line_that_never_ends_is_a_fault_and_does_not_fill_the_memory(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(verify, "LONGEST_LINE", 1000)
    made = unsigned(small_book(), {"detector:D-01": 1})
    made["entries.jsonl"] = b"[" * 5_000_000
    told = verify.verify(io.BytesIO(write(members(listed(made)))), KEEPER.fingerprint)
    assert ("entry", None) in {(fault["code"], fault["index"]) for fault in told["faults"]}


@pytest.mark.slow
def test_many_entries_are_read_in_little_memory() -> None:
    """Twenty thousand entries of a book of as many: a few hundred bytes each, not the entries themselves."""
    book = Book()
    day = struct.Struct(">H")
    for number in range(20_000):
        book.leaves.append(
            {
                "body": {
                    "about": ["detector:D-01"], "at": "2026-03-02T06:00:00.000Z", "kind": "note", "v": 1,
                    "id": f"0197a000-0000-7000-8000-{number:012x}", "text": day.pack(number).hex() * 200,
                },
                "nth": {"detector:D-01": number + 1},
                "recorded_at": "2026-03-02T06:00:00.000Z",
            }
        )  # fmt: skip
        book.sealed.append({})
    files = listed({**unsigned(book, {}, []), **whole(book), "census.json": jcs({"detector:D-01": 20_000})})
    data = write(members(files, 8))
    assert len(files["entries.jsonl"]) > 20_000_000
    tracemalloc.start()
    try:
        assert answer(data) == "holds"
        assert tracemalloc.get_traced_memory()[1] < 20_000_000
    finally:
        tracemalloc.stop()


def whole(book: Book) -> dict[str, bytes]:
    """Entries, tree and checkpoint of all of a book, each node hashed once."""
    rows: list[str] = []

    def node(hashes: list[bytes]) -> bytes:
        if len(hashes) == 1:
            return hashes[0]
        place, cut = len(rows), 1 << ((len(hashes) - 1).bit_length() - 1)
        rows.append("")
        left, right = node(hashes[:cut]), node(hashes[cut:])
        rows[place] = f"{left.hex()} {right.hex()}\n"
        return sha(b"\1" + left + right)

    top = node(book.hashes())
    census = sha(jcs({"detector:D-01": len(book.leaves)})).hex()
    head = f"{ORIGIN}\n{len(book.leaves)}\n{b64(top)}\npitbird-census/1 sha256:{census}\n"
    lines = [jcs({"index": index, "leaf": leaf}) + b"\n" for index, leaf in enumerate(book.leaves)]
    return {
        "entries.jsonl": b"".join(lines),
        "tree.txt": "".join(rows).encode(),
        "checkpoint.note": note(head, KEEPER),
        "scope.json": jcs(
            {"asked": {}, "format": "pitbird-bundle/1", "since": None, "subjects": {"detector:D-01": 1}}
        ),
    }
