"""Merkle tree.

Sources: RFC 9162 section 2.1 (definitions, and the example of section 2.1.5); the reference tree of eight
leaves of Certificate Transparency with its roots and proofs (repository transparency-dev/merkle, file
proof/verify_test.go).
"""

from functools import cache
from hashlib import sha256
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.record.errors import BadTree, ProofRefused
from pitbird.record.merkle import (
    EMPTY_ROOT,
    MAX_SIZE,
    Frontier,
    consistency_path,
    consistency_proof,
    inclusion_path,
    inclusion_proof,
    leaf_hash,
    node_hash,
    node_of_full,
    root_of,
    verify_consistency,
    verify_inclusion,
)

CT_LEAVES = [
    bytes.fromhex(text)
    for text in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
CT_ROOTS = [
    bytes.fromhex(text)
    for text in (
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
        "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
        "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
        "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
        "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
    )
]
# The test file counts leaves from 1; here the index counts from 0.
CT_INCLUSION = {
    (0, 8): (
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ),
    (5, 8): (
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ),
    (2, 3): ("fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",),
    (1, 5): (
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    ),
    (0, 1): (),
}
CT_CONSISTENCY = {
    (1, 1): (),
    (1, 8): CT_INCLUSION[0, 8],
    (6, 8): (
        "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ),
    (2, 5): (
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    ),
    (6, 7): (
        "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
        "b08693ec2e721597130641e8211e7eedccb4c26413963eee6c1e2ed16ffb1a5f",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ),
}
OTHER = sha256(b"some other hash").digest()


# ---- RFC 9162 sections 2.1.1, 2.1.3.1 and 2.1.4.1 read literally: recursion over the entries themselves.


def split(n: int) -> int:
    k = 1
    while k * 2 < n:
        k *= 2
    return k


def mth(entries: list[bytes]) -> bytes:
    if not entries:
        return sha256(b"").digest()
    if len(entries) == 1:
        return sha256(b"\x00" + entries[0]).digest()
    k = split(len(entries))
    return sha256(b"\x01" + mth(entries[:k]) + mth(entries[k:])).digest()


def path(m: int, entries: list[bytes]) -> list[bytes]:
    if len(entries) == 1:
        return []
    k = split(len(entries))
    if m < k:
        return [*path(m, entries[:k]), mth(entries[k:])]
    return [*path(m - k, entries[k:]), mth(entries[:k])]


def subproof(m: int, entries: list[bytes], whole: bool) -> list[bytes]:
    if m == len(entries):
        return [] if whole else [mth(entries)]
    k = split(len(entries))
    if m <= k:
        return [*subproof(m, entries[:k], whole), mth(entries[k:])]
    return [*subproof(m - k, entries[k:], False), mth(entries[:k])]


entries_lists = st.integers(1, 70).map(lambda n: [bytes([i]) * (i % 5) for i in range(n)])


@st.composite
def inclusions(draw: st.DrawFn) -> dict[str, Any]:
    entries = draw(entries_lists)
    index = draw(st.integers(0, len(entries) - 1))
    hashes = [leaf_hash(entry) for entry in entries]
    return {
        "index": index,
        "size": len(entries),
        "leaf": hashes[index],
        "proof": inclusion_proof(hashes, index),
        "root": root_of(hashes),
    }


@st.composite
def consistencies(draw: st.DrawFn) -> dict[str, Any]:
    entries = draw(entries_lists)
    old = draw(st.integers(1, len(entries)))
    hashes = [leaf_hash(entry) for entry in entries]
    return {
        "old_size": old,
        "new_size": len(entries),
        "old_root": root_of(hashes[:old]),
        "new_root": root_of(hashes),
        "proof": consistency_proof(hashes, old),
    }


def flipped(data: bytes, bit: int) -> bytes:
    changed = bytearray(data)
    changed[bit // 8 % len(data)] ^= 1 << bit % 8
    return bytes(changed)


# ---- published values


@pytest.mark.parametrize("size", range(9))
def test_the_reference_tree_of_certificate_transparency_has_its_published_roots(size: int) -> None:
    frontier = Frontier()
    for entry in CT_LEAVES[:size]:
        frontier = frontier.append(leaf_hash(entry))
    assert (
        frontier.root()
        == root_of(map(leaf_hash, CT_LEAVES[:size]))
        == mth(CT_LEAVES[:size])
        == CT_ROOTS[size]
    )


def test_the_empty_root_is_the_sha_256_of_nothing() -> None:
    assert CT_ROOTS[0] == EMPTY_ROOT


@pytest.mark.parametrize(("index", "size"), CT_INCLUSION)
def test_the_published_inclusion_proofs_are_made_and_verified(index: int, size: int) -> None:
    published = [bytes.fromhex(text) for text in CT_INCLUSION[index, size]]
    hashes = [leaf_hash(entry) for entry in CT_LEAVES[:size]]
    assert inclusion_proof(hashes, index) == published
    verify_inclusion(index=index, size=size, leaf=hashes[index], proof=published, root=CT_ROOTS[size])


@pytest.mark.parametrize(("old", "new"), CT_CONSISTENCY)
def test_the_published_consistency_proofs_are_made_and_verified(old: int, new: int) -> None:
    published = [bytes.fromhex(text) for text in CT_CONSISTENCY[old, new]]
    assert consistency_proof([leaf_hash(entry) for entry in CT_LEAVES[:new]], old) == published
    verify_consistency(
        old_size=old, new_size=new, old_root=CT_ROOTS[old], new_root=CT_ROOTS[new], proof=published
    )


def test_the_seven_leaves_of_rfc_9162_section_2_1_5_have_the_proofs_printed_there() -> None:
    hashes = [leaf_hash(b"d%d" % i) for i in range(7)]
    a, b, c, d, e, f, j = hashes
    g, h, i = node_hash(a, b), node_hash(c, d), node_hash(e, f)
    k, l = node_hash(g, h), node_hash(i, j)  # noqa: E741 - the names are those of the RFC
    assert root_of(hashes) == node_hash(k, l)
    assert inclusion_proof(hashes, 0) == [b, h, l]
    assert inclusion_proof(hashes, 3) == [c, g, l]
    assert inclusion_proof(hashes, 4) == [f, j, k]
    assert inclusion_proof(hashes, 6) == [i, k]
    assert root_of(hashes[:3]) == node_hash(g, c)
    assert root_of(hashes[:4]) == k
    assert root_of(hashes[:6]) == node_hash(k, i)
    assert consistency_proof(hashes, 3) == [c, d, g, l]
    assert consistency_proof(hashes, 4) == [l]
    assert consistency_proof(hashes, 6) == [i, j, k]


# ---- laws


@given(entries_lists)
def test_frontier_and_root_agree_with_the_literal_definition(entries: list[bytes]) -> None:
    frontier = Frontier()
    for entry in entries:
        frontier = frontier.append(leaf_hash(entry))
    assert frontier.size == len(entries)
    assert frontier.root() == root_of(map(leaf_hash, entries)) == mth(entries)
    assert Frontier.from_bytes(frontier.to_bytes()) == frontier


@given(entries_lists, st.data())
def test_proofs_agree_with_the_literal_definitions(entries: list[bytes], data: st.DataObject) -> None:
    index = data.draw(st.integers(0, len(entries) - 1))
    hashes = [leaf_hash(entry) for entry in entries]
    assert inclusion_proof(hashes, index) == path(index, entries)
    assert consistency_proof(hashes, index + 1) == subproof(index + 1, entries, True)


@given(inclusions())
def test_every_inclusion_proof_verifies(proof: dict[str, Any]) -> None:
    verify_inclusion(**proof)
    verify_inclusion(**{**proof, "proof": tuple(proof["proof"])})


@given(consistencies())
def test_every_consistency_proof_verifies(proof: dict[str, Any]) -> None:
    verify_consistency(**proof)


def test_every_pair_of_sizes_up_to_twenty_is_consistent_and_every_leaf_included() -> None:
    hashes = [leaf_hash(bytes([i])) for i in range(20)]
    for new in range(1, 21):
        root = root_of(hashes[:new])
        for old in range(new + 1):
            made = consistency_proof(hashes[:new], old)
            verify_consistency(
                old_size=old, new_size=new, old_root=root_of(hashes[:old]), new_root=root, proof=made
            )
        for index in range(new):
            made = inclusion_proof(hashes[:new], index)
            verify_inclusion(index=index, size=new, leaf=hashes[index], proof=made, root=root)


# ---- proofs from the roots of full sub-trees, against the RFC's definitions with each node worked out once

MANY = [leaf_hash(b"%d" % i) for i in range(300)]


@cache
def over(start: int, end: int) -> bytes:
    if end - start == 1:
        return MANY[start]
    k = split(end - start)
    return node_hash(over(start, start + k), over(start + k, end))


def full(level: int, place: int) -> bytes:
    assert (place + 1) << level <= len(MANY)
    return over(place << level, (place + 1) << level)


def from_full(start: int, end: int) -> bytes:
    return node_of_full(start, end, full)


def path_over(m: int, start: int, end: int) -> list[bytes]:
    if end - start == 1:
        return []
    k = start + split(end - start)
    return [*path_over(m, start, k), over(k, end)] if m < k else [*path_over(m, k, end), over(start, k)]


def subproof_over(m: int, start: int, end: int, whole: bool) -> list[bytes]:
    if m == end:
        return [] if whole else [over(start, end)]
    k = start + split(end - start)
    if m <= k:
        return [*subproof_over(m, start, k, whole), over(k, end)]
    return [*subproof_over(m, k, end, False), over(start, k)]


@pytest.mark.parametrize("sizes", [range(1, 151), range(151, 226), range(226, 301)])
def test_every_proof_in_trees_of_up_to_300_leaves_is_that_of_the_rfc(sizes: range) -> None:
    for size in sizes:
        for index in range(size):
            assert inclusion_path(size, index, from_full) == path_over(index, 0, size)
        for old in range(1, size + 1):
            assert consistency_path(old, size, from_full) == subproof_over(old, 0, size, True)


@given(st.integers(1, 300), st.data())
def test_proofs_from_full_sub_trees_are_those_from_the_leaves(size: int, data: st.DataObject) -> None:
    place = data.draw(st.integers(0, size - 1))
    assert inclusion_path(size, place, from_full) == inclusion_proof(MANY[:size], place)
    assert consistency_path(place, size, from_full) == consistency_proof(MANY[:size], place)
    assert node_of_full(0, size, full) == root_of(MANY[:size])


@pytest.mark.parametrize(("start", "end"), [(0, 0), (1, 3), (3, 2), (4, 9), (-2, 0), (2, 5)])
def test_what_is_no_node_of_any_tree_has_no_hash(start: int, end: int) -> None:
    with pytest.raises(BadTree, match=rf"^node: no node lies over the leaves from {start} to before {end}"):
        node_of_full(start, end, full)


@given(inclusions(), st.integers(0, 10_000), st.sampled_from(["leaf", "root", "proof"]))
def test_one_flipped_bit_refuses_an_inclusion_proof(proof: dict[str, Any], bit: int, part: str) -> None:
    changed: Any
    if part == "proof":
        if not proof["proof"]:
            return
        place = bit // 256 % len(proof["proof"])
        changed = list(proof["proof"])
        changed[place] = flipped(changed[place], bit % 256)
    else:
        changed = flipped(proof[part], bit % 256)
    with pytest.raises(ProofRefused):
        verify_inclusion(**{**proof, part: changed})


@given(consistencies(), st.integers(0, 10_000), st.sampled_from(["old_root", "new_root", "proof"]))
def test_one_flipped_bit_refuses_a_consistency_proof(proof: dict[str, Any], bit: int, part: str) -> None:
    changed: Any
    if part == "proof":
        if not proof["proof"]:
            return
        place = bit // 256 % len(proof["proof"])
        changed = list(proof["proof"])
        changed[place] = flipped(changed[place], bit % 256)
    else:
        changed = flipped(proof[part], bit % 256)
    with pytest.raises(ProofRefused):
        verify_consistency(**{**proof, part: changed})


@given(inclusions(), st.integers(-2, 80))
def test_another_index_refuses_an_inclusion_proof(proof: dict[str, Any], index: int) -> None:
    if index == proof["index"]:
        return
    with pytest.raises(ProofRefused):
        verify_inclusion(**{**proof, "index": index})


@given(consistencies(), st.integers(-2, 80))
def test_another_older_size_refuses_a_consistency_proof(proof: dict[str, Any], old: int) -> None:
    if old == proof["old_size"]:
        return
    with pytest.raises(ProofRefused):
        verify_consistency(**{**proof, "old_size": old})


@given(
    st.one_of(inclusions(), consistencies()), st.integers(0, 8), st.sampled_from(["drop", "add", "double"])
)
def test_a_component_too_few_or_too_many_refuses_a_proof(proof: dict[str, Any], place: int, how: str) -> None:
    changed = list(proof["proof"])
    at = place % (len(changed) + 1)
    if how == "add":
        changed.insert(at, OTHER)
    elif not changed:
        return
    elif how == "drop":
        del changed[at % len(changed)]
    else:
        changed.insert(at, changed[at % len(changed)])
    verify = verify_inclusion if "index" in proof else verify_consistency
    with pytest.raises(ProofRefused, match=r"hashes where \d+ belong"):
        verify(**{**proof, "proof": changed})


# ---- hostile arguments, the probes of proof/verify_test.go among them

WHOLE_INCLUSION: dict[str, Any] = {
    "index": 5,
    "size": 8,
    "leaf": leaf_hash(CT_LEAVES[5]),
    "proof": [bytes.fromhex(text) for text in CT_INCLUSION[5, 8]],
    "root": CT_ROOTS[8],
}
WHOLE_CONSISTENCY: dict[str, Any] = {
    "old_size": 6,
    "new_size": 8,
    "old_root": CT_ROOTS[6],
    "new_root": CT_ROOTS[8],
    "proof": [bytes.fromhex(text) for text in CT_CONSISTENCY[6, 8]],
}
NOT_COUNTS = [-1, True, 5.0, "six", None, 2**63, 2**70, [5]]
NOT_HASHES = [b"", b"short", bytes(31), bytes(33), bytearray(32), "0" * 64, None, 7]
NOT_PROOFS: list[Any] = [
    None,
    3,
    "abc",
    b"xyz",
    {},
    iter([]),
    [b""],
    [None] * 3,
    [bytes(31)] * 3,
    [bytes(33)] * 3,
    ["0" * 32] * 3,
]


@pytest.mark.parametrize(
    ("part", "garbage"),
    [("index", bad) for bad in [*NOT_COUNTS, 8, 9]]
    + [("size", bad) for bad in [*NOT_COUNTS, 0, 4, 16]]
    + [("leaf", bad) for bad in NOT_HASHES]
    + [("root", bad) for bad in [*NOT_HASHES, EMPTY_ROOT, OTHER]]
    + [("proof", bad) for bad in [*NOT_PROOFS, [], [OTHER] * 3, WHOLE_INCLUSION["proof"][::-1]]],
)
def test_garbage_in_any_argument_refuses_an_inclusion_proof_and_raises_nothing_else(
    part: str, garbage: Any
) -> None:
    verify_inclusion(**WHOLE_INCLUSION)
    with pytest.raises(ProofRefused, match=r"^(index|size|leaf|root|proof(\[\d\])?): "):
        verify_inclusion(**{**WHOLE_INCLUSION, part: garbage})


@pytest.mark.parametrize(
    ("part", "garbage"),
    [("old_size", bad) for bad in [*NOT_COUNTS, 0, 5, 7, 9]]
    + [("new_size", bad) for bad in [*NOT_COUNTS, 0, 4, 16]]
    + [("old_root", bad) for bad in [*NOT_HASHES, EMPTY_ROOT, OTHER, CT_ROOTS[8]]]
    + [("new_root", bad) for bad in [*NOT_HASHES, EMPTY_ROOT, OTHER, CT_ROOTS[6]]]
    + [("proof", bad) for bad in [*NOT_PROOFS, [], [OTHER] * 3, WHOLE_CONSISTENCY["proof"][::-1]]],
)
def test_garbage_in_any_argument_refuses_a_consistency_proof_and_raises_nothing_else(
    part: str, garbage: Any
) -> None:
    verify_consistency(**WHOLE_CONSISTENCY)
    with pytest.raises(ProofRefused, match=r"^(old_size|new_size|old_root|new_root|proof(\[\d\])?): "):
        verify_consistency(**{**WHOLE_CONSISTENCY, part: garbage})


@pytest.mark.parametrize(
    ("old", "new", "old_root", "new_root", "proof", "message"),
    [
        (0, 0, EMPTY_ROOT, EMPTY_ROOT, [], None),
        (0, 5, EMPTY_ROOT, CT_ROOTS[5], [], None),
        (5, 5, CT_ROOTS[5], CT_ROOTS[5], [], None),
        (0, 0, OTHER, OTHER, [], "^old_root: a tree without leaves has another root"),
        (0, 5, OTHER, CT_ROOTS[5], [], "^old_root: a tree without leaves has another root"),
        (0, 0, EMPTY_ROOT, EMPTY_ROOT, [OTHER], "1 hashes where 0 belong"),
        (0, 5, EMPTY_ROOT, CT_ROOTS[5], [OTHER], "1 hashes where 0 belong"),
        (5, 5, CT_ROOTS[5], CT_ROOTS[5], [OTHER], "1 hashes where 0 belong"),
        (5, 5, CT_ROOTS[5], CT_ROOTS[4], [], "^new_root: two roots for one size"),
        (5, 4, CT_ROOTS[5], CT_ROOTS[4], [], "^new_size: the newer tree has 4 leaves, the older 5"),
    ],
)
def test_the_empty_and_the_equal_tree_have_only_the_empty_proof(
    old: int, new: int, old_root: bytes, new_root: bytes, proof: list[bytes], message: str | None
) -> None:
    arguments: dict[str, Any] = {
        "old_size": old,
        "new_size": new,
        "old_root": old_root,
        "new_root": new_root,
        "proof": proof,
    }
    if message is None:
        verify_consistency(**arguments)
        return
    with pytest.raises(ProofRefused, match=message):
        verify_consistency(**arguments)


# ---- forgeries


def test_a_node_cannot_be_passed_off_as_a_leaf() -> None:
    """Second preimage: without the prefixes, an entry made of two hashes would stand for their node."""
    hashes = [leaf_hash(entry) for entry in CT_LEAVES[:4]]
    left, right = node_hash(hashes[0], hashes[1]), node_hash(hashes[2], hashes[3])
    assert node_hash(left, right) == CT_ROOTS[4]
    forged_entry = hashes[0] + hashes[1]
    for size in range(1, 9):
        for proof in ([], [right], [hashes[1], right]):
            with pytest.raises(ProofRefused):
                verify_inclusion(
                    index=0, size=size, leaf=leaf_hash(forged_entry), proof=proof, root=CT_ROOTS[4]
                )


def test_a_node_hash_in_place_of_a_leaf_is_refused_by_the_length_that_the_true_size_asks_for() -> None:
    left, right = (node_hash(leaf_hash(CT_LEAVES[i]), leaf_hash(CT_LEAVES[i + 1])) for i in (0, 2))
    with pytest.raises(ProofRefused, match="1 hashes where 2 belong"):
        verify_inclusion(index=0, size=4, leaf=left, proof=[right], root=CT_ROOTS[4])


@pytest.mark.parametrize(
    ("forgery", "later"),
    [
        ("changed", [b"x", *CT_LEAVES[1:8]]),
        ("dropped", [*CT_LEAVES[:2], *CT_LEAVES[3:8], b"y"]),
        ("inserted", [*CT_LEAVES[:2], b"x", *CT_LEAVES[2:7]]),
        ("reordered", [*CT_LEAVES[:2], CT_LEAVES[3], CT_LEAVES[2], *CT_LEAVES[4:8]]),
    ],
)
def test_no_proof_joins_a_rewritten_book_to_its_earlier_root(forgery: str, later: list[bytes]) -> None:
    hashes = [leaf_hash(entry) for entry in later]
    for made in (consistency_proof(hashes, 6), WHOLE_CONSISTENCY["proof"]):
        with pytest.raises(ProofRefused, match=r"^(old|new)_root: the proof leads to another"):
            verify_consistency(
                old_size=6, new_size=8, old_root=CT_ROOTS[6], new_root=root_of(hashes), proof=made
            )


def test_a_swapped_proof_component_is_named_by_the_root_it_misses() -> None:
    proof = WHOLE_CONSISTENCY["proof"]
    with pytest.raises(ProofRefused, match=r"^new_root: the proof leads to another newer root"):
        verify_consistency(**{**WHOLE_CONSISTENCY, "proof": [proof[0], OTHER, proof[2]]})
    with pytest.raises(ProofRefused, match=r"^old_root: the proof leads to another older root"):
        verify_consistency(**{**WHOLE_CONSISTENCY, "proof": [proof[0], proof[1], OTHER]})


@pytest.mark.parametrize(("index", "size"), [(0, 0), (1, 1), (8, 8), (9, 8)])
def test_an_index_beyond_the_tree_is_refused_before_the_proof_is_looked_at(index: int, size: int) -> None:
    with pytest.raises(ProofRefused, match=f"^index: no leaf {index} in a tree of {size}"):
        verify_inclusion(index=index, size=size, leaf=OTHER, proof=[OTHER], root=OTHER)


# ---- bad calls


@pytest.mark.parametrize("index", [-1, 3, True, "0", None])
def test_a_leaf_the_tree_does_not_hold_has_no_inclusion_proof(index: Any) -> None:
    with pytest.raises(BadTree, match=r"^index: there is no leaf .* in a tree of 3"):
        inclusion_proof([OTHER] * 3, index)


@pytest.mark.parametrize("size", [-1, 4, True, "0", None])
def test_a_size_the_tree_never_had_has_no_consistency_proof(size: Any) -> None:
    with pytest.raises(BadTree, match=r"^old_size: no tree of .* leaves lies inside one of 3"):
        consistency_proof([OTHER] * 3, size)


@pytest.mark.parametrize("bad", NOT_HASHES)
def test_what_is_not_a_hash_never_enters_a_tree(bad: Any) -> None:
    with pytest.raises(BadTree, match=r"^leaf hash: not a hash of 32 bytes"):
        Frontier().append(bad)
    with pytest.raises(BadTree, match=r"^leaf 1: not a hash of 32 bytes"):
        root_of([OTHER, bad])
    with pytest.raises(BadTree, match=r"^frontier: not a hash of 32 bytes"):
        Frontier(1, (bad,))


@pytest.mark.parametrize(
    ("size", "hashes", "message"),
    [
        (-1, (), "the size -1 is not a count"),
        (MAX_SIZE + 1, (OTHER,), "is not a count"),
        (True, (OTHER,), "the size True is not a count"),
        (3, (OTHER,), "a tree of 3 leaves has a frontier of 2 hashes"),
        (0, (OTHER,), "a tree of 0 leaves has a frontier of 0 hashes"),
        (1, [OTHER], "has a frontier of 1 hashes"),
    ],
)
def test_a_frontier_that_cannot_be_is_refused(size: Any, hashes: Any, message: str) -> None:
    with pytest.raises(BadTree, match=message):
        Frontier(size, hashes)


@pytest.mark.parametrize(
    "data",
    [b"", bytes(7), bytes(9), bytes(8) + OTHER, (1).to_bytes(8, "big"), b"\xff" * 8 + OTHER],
)
def test_bytes_that_hold_no_frontier_are_refused(data: bytes) -> None:
    with pytest.raises(BadTree, match=r"^frontier: .* Rebuild the frontier"):
        Frontier.from_bytes(data)


def test_a_frontier_is_kept_as_its_size_in_eight_bytes_and_its_hashes() -> None:
    frontier = Frontier()
    for entry in CT_LEAVES[:6]:
        frontier = frontier.append(leaf_hash(entry))
    last_two = node_hash(leaf_hash(CT_LEAVES[4]), leaf_hash(CT_LEAVES[5]))
    assert frontier.to_bytes() == bytes.fromhex("0000000000000006") + CT_ROOTS[4] + last_two
