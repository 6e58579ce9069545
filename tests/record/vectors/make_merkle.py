"""Make merkle.json: proofs of inclusion and consistency that hold, and forged ones that must be refused.

Written from RFC 9162 section 2.1 alone, by its recursive definitions, and with none of the project's code.
Each proof is put to a verifier here too, which follows those definitions from the root down; so that what a
forgery should do is not a guess. Whether a changed index or size must be refused depends on the shape of the
tree: where both ask for the same way to the root, no verifier can tell them apart (the size is bound by the
signed checkpoint alone), and the proof is listed as one that holds.

    python tests/record/vectors/make_merkle.py          writes merkle.json beside it

Counts are decimal strings, since some exceed what a double holds; hashes, leaves and proofs are hexadecimal.
``leaf`` is a leaf hash. ``done`` says what was done to a proof that held.
"""

import json
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

HERE = Path(__file__).with_name("merkle.json")
# The eight leaves of Certificate Transparency's reference tree and its root (repository
# transparency-dev/merkle, file proof/verify_test.go); as they stand in tests/record/test_merkle.py.
REFERENCE = [
    "",
    "00",
    "10",
    "2021",
    "3031",
    "40414243",
    "5051525354555657",
    "606162636465666768696a6b6c6d6e6f",
]
REFERENCE_ROOT = "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"
MOST = 2**63 - 1
EMPTY = sha256(b"").digest()
Case = dict[str, object]
Side = str


def sha(data: bytes) -> bytes:
    return sha256(data).digest()


def node(left: bytes, right: bytes) -> bytes:
    return sha(b"\x01" + left + right)


def split(n: int) -> int:
    """The largest power of two smaller than n (2.1.1)."""
    k = 1
    while k * 2 < n:
        k *= 2
    return k


# --- The definitions, from the root down


def mth(leaves: list[bytes]) -> bytes:
    """2.1.1, over leaf hashes."""
    if not leaves:
        return EMPTY
    if len(leaves) == 1:
        return leaves[0]
    k = split(len(leaves))
    return node(mth(leaves[:k]), mth(leaves[k:]))


def path(m: int, leaves: list[bytes]) -> list[bytes]:
    """2.1.3.1."""
    if len(leaves) == 1:
        return []
    k = split(len(leaves))
    if m < k:
        return [*path(m, leaves[:k]), mth(leaves[k:])]
    return [*path(m - k, leaves[k:]), mth(leaves[:k])]


def subproof(m: int, leaves: list[bytes], whole: bool) -> list[bytes]:
    """2.1.4.1."""
    if m == len(leaves):
        return [] if whole else [mth(leaves)]
    k = split(len(leaves))
    if m <= k:
        return [*subproof(m, leaves[:k], whole), mth(leaves[k:])]
    return [*subproof(m - k, leaves[k:], False), mth(leaves[:k])]


def way(m: int, n: int) -> list[Side]:
    """On which side the other part lies, from the leaf up."""
    if n == 1:
        return []
    k = split(n)
    return [*way(m, k), "right"] if m < k else [*way(m - k, n - k), "left"]


def older_way(m: int, n: int, whole: bool = True) -> list[Side]:
    """The same for a consistency proof: beginning with the older root itself or with a part of it."""
    if m == n:
        return ["whole" if whole else "part"]
    k = split(n)
    return [*older_way(m, k, whole), "right"] if m <= k else [*older_way(m - k, n - k, False), "left"]


# --- Verifiers from those definitions


def right_hashes(*hashes: bytes) -> bool:
    return all(len(each) == 32 for each in hashes)


def included(index: int, size: int, leaf: bytes, proof: list[bytes], root: bytes) -> bool:
    if not 0 <= index < size <= MOST or not right_hashes(leaf, root, *proof):
        return False
    sides = way(index, size)
    if len(sides) != len(proof):
        return False
    for side, other in zip(sides, proof, strict=True):
        leaf = node(other, leaf) if side == "left" else node(leaf, other)
    return leaf == root


def consistent(old: int, new: int, old_root: bytes, new_root: bytes, proof: list[bytes]) -> bool:
    if not 0 <= old <= new <= MOST or not right_hashes(old_root, new_root, *proof):
        return False
    if old == 0:
        return proof == [] and old_root == EMPTY and (new > 0 or new_root == EMPTY)
    if old == new:
        return proof == [] and old_root == new_root
    first, *sides = older_way(old, new)
    hashes = [old_root, *proof] if first == "whole" else list(proof)
    if len(hashes) != len(sides) + 1:
        return False
    was = now = hashes[0]
    for side, other in zip(sides, hashes[1:], strict=True):
        if side == "left":
            was, now = node(other, was), node(other, now)
        else:
            now = node(now, other)
    return was == old_root and now == new_root


# --- Forging


def flipped(data: bytes, bit: int = 0) -> bytes:
    changed = bytearray(data)
    changed[bit // 8] ^= 1 << bit % 8
    return bytes(changed)


OTHER = sha(b"of another book")


def proof_changes(proof: list[bytes], everywhere: bool) -> Iterator[tuple[str, list[bytes]]]:
    """What can be done to the list of hashes; at each place, or at the first and the last."""
    places = range(len(proof)) if everywhere else sorted({0, len(proof) - 1} if proof else ())
    yield "a hash put behind the last", [*proof, OTHER]
    yield "a hash put before the first", [OTHER, *proof]
    yield "an empty hash put behind the last", [*proof, b""]
    if proof:
        yield "the last hash put behind once more", [*proof, proof[-1]]
        yield "all hashes left out", []
        yield "all hashes twice", proof + proof
    if proof[::-1] != proof:
        yield "in the other order", proof[::-1]
    for n in places:
        yield f"hash {n} left out", proof[:n] + proof[n + 1 :]
        yield f"hash {n} doubled", proof[: n + 1] + proof[n:]
        yield f"a bit of hash {n} flipped", [*proof[:n], flipped(proof[n], 7 * n % 256), *proof[n + 1 :]]
        yield f"hash {n} of another book", [*proof[:n], OTHER, *proof[n + 1 :]]
        yield f"hash {n} one byte short", [*proof[:n], proof[n][:-1], *proof[n + 1 :]]
        yield f"hash {n} one byte long", [*proof[:n], proof[n] + b"\x00", *proof[n + 1 :]]
        yield f"hash {n} empty", [*proof[:n], b"", *proof[n + 1 :]]
        if n + 1 < len(proof) and proof[n] != proof[n + 1]:
            swapped = list(proof)
            swapped[n], swapped[n + 1] = swapped[n + 1], swapped[n]
            yield f"hashes {n} and {n + 1} swapped", swapped


def hash_changes(name: str, value: bytes) -> Iterator[tuple[str, bytes]]:
    for bit in (0, 131, 255):
        yield f"bit {bit} of the {name} flipped", flipped(value, bit)
    yield f"the {name} of another book", OTHER
    yield f"the {name} the SHA-256 of nothing", EMPTY
    yield f"the {name} all zeros", bytes(32)
    yield f"the {name} hashed once more", sha(value)
    yield f"the {name} one byte short", value[:-1]
    yield f"the {name} one byte long", value + b"\x00"
    yield f"the {name} empty", b""


def counts(index: int, size: int) -> Iterator[int]:
    """Numbers that may stand in the place of one."""
    yield from (
        -1,
        0,
        1,
        index - 1,
        index + 1,
        index ^ 1,
        index * 2,
        index // 2,
        size - 1,
        size,
        size + 1,
        size * 2,
    )
    yield from (size // 2, index + size, MOST, MOST + 1, 2**64 - 1, 2**64 + index, -index - 1)
    if size < 2**31:  # of the others each proof is long
        yield from (index + 2**k for k in (1, 2, 3, 8, 31, 32, 53, 62))


# --- Bases: proofs that hold


def book_of(size: int) -> list[bytes]:
    return [sha(b"\x00entry %d" % n) for n in range(size)]


def tall_inclusion(index: int, size: int) -> tuple[bytes, list[bytes], bytes]:
    """In a tree too large to have: any hashes beside the way make some root."""
    leaf = made = sha(b"\x00a leaf of a tall tree")
    proof = [sha(b"beside %d" % n) for n in range(len(way(index, size)))]
    for side, other in zip(way(index, size), proof, strict=True):
        made = node(other, made) if side == "left" else node(made, other)
    return leaf, proof, made


def tall_consistency(old: int, new: int) -> tuple[bytes, bytes, list[bytes]]:
    first, *sides = older_way(old, new)
    was = now = sha(b"the part in both")
    proof = [] if first == "whole" else [now]
    for n, side in enumerate(sides):
        other = sha(b"beside %d" % n)
        proof.append(other)
        if side == "left":
            was, now = node(other, was), node(other, now)
        else:
            now = node(now, other)
    return was, now, proof


def inclusions() -> Iterator[Case]:
    reference = [sha(b"\x00" + bytes.fromhex(each)) for each in REFERENCE]
    assert mth(reference).hex() == REFERENCE_ROOT
    for index in range(8):
        yield inclusion(
            f"reference {index} of 8", "", index, 8, reference[index], path(index, reference), mth(reference)
        )
    for index, size in (
        (0, 1),
        (0, 2),
        (1, 2),
        (2, 3),
        (4, 5),
        (3, 7),
        (6, 7),
        (0, 8),
        (7, 8),
        (9, 13),
        (63, 100),
    ):
        leaves = book_of(size)
        yield from forged_inclusions(
            index, size, leaves[index], path(index, leaves), mth(leaves), everywhere=size < 20
        )
        yield from other_trees(index, size, leaves)
    for index, size in (
        (2**62 + 5, MOST),
        (2**53, 2**53 + 2),
        (0, 2**31 + 1),
        (2**32, 2**32 + 1),
    ):
        leaf, proof, root = tall_inclusion(index, size)
        yield from forged_inclusions(index, size, leaf, proof, root, everywhere=False)


def forged_inclusions(
    index: int, size: int, leaf: bytes, proof: list[bytes], root: bytes, *, everywhere: bool
) -> Iterator[Case]:
    name = f"entry {index} of {size}"
    yield inclusion(name, "", index, size, leaf, proof, root)
    for other in sorted(set(counts(index, size)) - {index}):
        yield inclusion(name, f"another index, {other}", other, size, leaf, proof, root)
    for other in sorted(set(counts(index, size)) - {size}):
        yield inclusion(name, f"another size, {other}", index, other, leaf, proof, root)
    for done, changed in proof_changes(proof, everywhere):
        yield inclusion(name, done, index, size, leaf, changed, root)
    for done, made in hash_changes("leaf", leaf):
        yield inclusion(name, done, index, size, made, proof, root)
    for done, made in hash_changes("root", root):
        yield inclusion(name, done, index, size, leaf, proof, made)
    yield inclusion(name, "leaf and root swapped", index, size, root, proof, leaf)
    yield inclusion(name, "the root given as the leaf, without hashes", index, size, root, [], root)
    if proof:
        above = node(proof[0], leaf) if way(index, size)[0] == "left" else node(leaf, proof[0])
        yield inclusion(name, "the node above given as the leaf", index, size, above, proof[1:], root)


def other_trees(index: int, size: int, leaves: list[bytes]) -> Iterator[Case]:
    name, leaf, root = f"entry {index} of {size}", leaves[index], mth(leaves)
    another = [sha(b"\x00another %d" % n) for n in range(size)]
    if size > 1:
        yield inclusion(name, "the proof of another book", index, size, leaf, path(index, another), root)
        beside = (index + 1) % size
        yield inclusion(name, f"the proof of entry {beside}", index, size, leaf, path(beside, leaves), root)
        yield inclusion(
            name, f"entry {beside} in its place", index, size, leaves[beside], path(index, leaves), root
        )
    yield inclusion(
        name, "under the root of another book", index, size, leaf, path(index, leaves), mth(another)
    )
    longer = book_of(size + 1)
    yield inclusion(name, "the proof of a longer book", index, size, leaf, path(index, longer), root)
    yield inclusion(
        name, "under the root of a longer book", index, size, leaf, path(index, leaves), mth(longer)
    )


def inclusion(
    name: str, done: str, index: int, size: int, leaf: bytes, proof: list[bytes], root: bytes
) -> Case:
    return {
        "base": name, "done": done, "holds": included(index, size, leaf, proof, root), "index": str(index),
        "leaf": leaf.hex(), "proof": [each.hex() for each in proof], "root": root.hex(), "size": str(size),
    }  # fmt: skip


def consistencies() -> Iterator[Case]:
    pairs = (
        (0, 0),
        (0, 5),
        (1, 1),
        (1, 2),
        (2, 3),
        (3, 7),
        (4, 7),
        (6, 7),
        (6, 8),
        (8, 8),
        (5, 13),
        (64, 100),
    )
    for old, new in pairs:
        leaves = book_of(new)
        proof = subproof(old, leaves, True) if 0 < old < new else []
        yield from forged_consistencies(old, new, mth(leaves[:old]), mth(leaves), proof, everywhere=new < 20)
        yield from other_books(old, new, leaves, proof)
    for old, new in ((2**62, MOST), (2**62 - 1, MOST), (2**53 + 1, 2**53 + 2)):
        was, now, proof = tall_consistency(old, new)
        yield from forged_consistencies(old, new, was, now, proof, everywhere=False)


def forged_consistencies(
    old: int, new: int, was: bytes, now: bytes, proof: list[bytes], *, everywhere: bool
) -> Iterator[Case]:
    name = f"{old} to {new}"
    yield consistency(name, "", old, new, was, now, proof)
    for other in sorted(set(counts(old, new)) - {old}):
        yield consistency(name, f"another older size, {other}", other, new, was, now, proof)
    for other in sorted(set(counts(old, new)) - {new}):
        yield consistency(name, f"another newer size, {other}", old, other, was, now, proof)
    for done, changed in proof_changes(proof, everywhere):
        yield consistency(name, done, old, new, was, now, changed)
    for done, made in hash_changes("older root", was):
        if made != was:
            yield consistency(name, done, old, new, made, now, proof)
    for done, made in hash_changes("newer root", now):
        if made != now:
            yield consistency(name, done, old, new, was, made, proof)
    if old != new:
        yield consistency(name, "sizes swapped", new, old, was, now, proof)
        yield consistency(name, "roots swapped", old, new, now, was, proof)
        yield consistency(name, "the newer root twice", old, new, now, now, proof)
        yield consistency(name, "the older root twice", old, new, was, was, proof)
    yield consistency(name, "the older root put before the proof", old, new, was, now, [was, *proof])


def other_books(old: int, new: int, leaves: list[bytes], proof: list[bytes]) -> Iterator[Case]:
    name, was, now = f"{old} to {new}", mth(leaves[:old]), mth(leaves)
    another = [sha(b"\x00another %d" % n) for n in range(new)]
    if 0 < old < new:
        strange = subproof(old, another, True)
        yield consistency(name, "the proof of another book", old, new, was, now, strange)
        rewritten = [*another[:1], *leaves[1:]]
        made = subproof(old, rewritten, True)
        yield consistency(name, "its first entry rewritten", old, new, was, mth(rewritten), made)
        shortened = leaves[: old - 1] + leaves[old:] + another[:1]
        made = subproof(old, shortened, True)
        yield consistency(name, "an early entry taken out", old, new, was, mth(shortened), made)
    if old:
        yield consistency(name, "the older root of another book", old, new, mth(another[:old]), now, proof)
    if 0 < new != old > 0:
        yield consistency(name, "the newer root of another book", old, new, was, mth(another), proof)


def consistency(name: str, done: str, old: int, new: int, was: bytes, now: bytes, proof: list[bytes]) -> Case:
    return {
        "base": name, "done": done, "holds": consistent(old, new, was, now, proof), "new_root": now.hex(),
        "new_size": str(new), "old_root": was.hex(), "old_size": str(old),
        "proof": [each.hex() for each in proof],
    }  # fmt: skip


def made() -> str:
    """The text of merkle.json: one case a line. RFC 9162 says nothing of proofs from the empty tree: of those
    only what must be refused is listed, and what was not changed."""
    told = (
        case for case in consistencies() if case["old_size"] != "0" or not (case["done"] and case["holds"])
    )
    parts = []
    for name, cases in (("consistency", told), ("inclusion", inclusions())):
        lines = ",\n".join(json.dumps(case, sort_keys=True) for case in cases)
        parts.append(f'"{name}": [\n{lines}\n]')
    return "{\n" + ",\n".join(parts) + "\n}\n"


if __name__ == "__main__":
    HERE.write_text(made(), "ascii")
