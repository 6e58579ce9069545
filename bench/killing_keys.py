"""Kill what makes checkpoints, changes the key and takes signatures at random moments; look after each.

`python -m bench.killing_keys KILLS [SEED]` prints a report as JSON. The worker (`... work HOME SEED`) tells
on its standard output what it begins and what was done, one JSON value a line, and touches nothing before a
line came on its standard input.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from bench import homes
from bench.killing import ROOT
from bench.killing_worker import tell

LONGEST = 0.25
WITNESSES = 5


def key_of(number: int) -> Any:
    """A key that worker and check know alike."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.from_private_bytes(bytes([number]) * 32)


def witness(number: int) -> Any:
    """A witness of the book."""
    from pitbird.record.note import COSIGNATURE, VerifierKey

    return VerifierKey(f"w{number}.example", key_of(number).public_key().public_bytes_raw(), COSIGNATURE)


def other_key() -> Any:
    """The key of another book."""
    from pitbird.record.note import VerifierKey

    return VerifierKey("pitbird-book/other", key_of(99).public_key().public_bytes_raw())


def other_leaves(size: int) -> list[bytes]:
    """What stands in the other book."""
    from pitbird.record.merkle import leaf_hash

    return [leaf_hash(str(each).encode()) for each in range(size)]


class Worker:
    """The acts: an entry, a checkpoint, a change of key, a signature that comes back, one for others."""

    def __init__(self, home: Path, seed: int) -> None:
        from pitbird.services import book_keys, checkpoints, key_rotation, witnessing, writing

        self.home, self.random = home, Random(seed)
        self.keys, self.checkpoints, self.rotation = book_keys, checkpoints, key_rotation
        self.witnessing, self.writing = witnessing, writing
        self.actor = writing.Actor("person:K-1", "site:north-works", "UTC")

    def act(self) -> None:
        """One act, chosen at random."""
        acts: list[Callable[[], dict[str, Any]]] = [self.write, self.make, self.rotate, self.back, self.sign]
        act = self.random.choices(acts, [2, 3, 4, 4, 2])[0]
        tell(begin=act.__name__)
        tell(done=act())

    def write(self) -> dict[str, Any]:
        """An entry more."""
        draft = {"kind": "note", "subject": "site:north-works", "text": f"swept {self.random.random()}"}
        return {"index": self.writing.write(draft, self.actor).index}

    def make(self) -> dict[str, Any]:
        """A checkpoint."""
        return {"checkpoint": self.checkpoints.make_checkpoint(self.home).checkpoint.size}

    def rotate(self) -> dict[str, Any]:
        """Another key."""
        return {"key": self.rotation.rotate(self.home, self.actor).new.text()}

    def back(self) -> dict[str, Any]:
        """A signature comes back for one of the checkpoints."""
        from pitbird.record.note import cosign_note, read_note

        path = self.random.choice(self.checkpoints.kept_paths(self.home)[:4] or [self._first()])
        note, number = read_note(path.read_bytes()), self.random.randrange(WITNESSES)
        made = cosign_note(note.text, witness(number).name, key_of(number), 1_772_000_000)
        self.witnessing.take_back(note.with_signature(made).to_bytes(), self.home, witness=witness(number))
        return {"signed": [path.name, number]}

    def sign(self) -> dict[str, Any]:
        """The other book grew, and this one signs that."""
        from pitbird.record.canonical import canonical
        from pitbird.record.checkpoint import Checkpoint
        from pitbird.record.merkle import consistency_proof, root_of
        from pitbird.record.note import Note, sign_note

        seen = self.witnessing.witnessed(self.home)
        old = seen[0].size if seen else 1
        leaves = other_leaves(old + 1)
        text = Checkpoint(other_key().name, old + 1, root_of(leaves)).text()
        data = Note(text, (sign_note(text, other_key().name, key_of(99)),)).to_bytes()
        hashes = [each.hex() for each in consistency_proof(leaves, old)]
        proof = canonical({"from": old, "proof": hashes, "to": old + 1})
        self.witnessing.cosign(data, other_key(), self.home, proof=proof)
        return {"seen": old + 1}

    def _first(self) -> Path:
        return self.checkpoints.make_checkpoint(self.home).path


def work(home: Path, seed: int) -> None:
    """Act until killed."""
    homes.set_up(home)
    worker = Worker(home, seed)
    tell(up=True)
    sys.stdin.readline()
    while True:
        worker.act()


@dataclass
class Report:
    """What many kills amount to: how many fell inside which act, how many left a change of key half made."""

    kills: int = 0
    inside: dict[str, int] = field(default_factory=dict)
    unsettled: int = 0
    keys: int = 0
    checkpoints: int = 0
    faults: list[str] = field(default_factory=list)


def begin() -> None:
    """A small book."""
    from pitbird.services.beginning import Beginning, begin_book

    begin_book(
        Beginning(
            title="Portable gas detectors", site="north-works", site_name="North works", zone="UTC",
            keeper="K-1", keeper_name="Ilda Fontanova",
        )
    )  # fmt: skip


def faults(home: Path, done: list[dict[str, Any]]) -> Iterator[str]:
    """What is wrong with the folder after a kill, given what was told as done."""
    from pitbird.record.checkpoint import read_census, verify_checkpoint
    from pitbird.record.note import read_note, verify_note
    from pitbird.services import book_keys, checkpoints, witnessing

    if complaint := checkpoints.check_kept(home).complaint:
        yield complaint
    kept: dict[str, Any] = {}
    for path, found in checkpoints.all_kept(home):
        if isinstance(found, ValueError):
            yield f"{path.name}: {found}"
            continue
        kept[path.name] = found
        read_census(found.census_path.read_bytes(), found.checkpoint)
    sizes = {found.checkpoint.size for found in kept.values()}
    chain = [key.text() for key in book_keys.book_keys(home)] if kept else []
    seen = 0
    for path in (home / "witnessed").glob("*.note"):
        seen = verify_checkpoint(path.read_bytes(), other_key()).checkpoint.size
    for each in done:
        if "checkpoint" in each and each["checkpoint"] not in sizes:
            yield f"the checkpoint of {each['checkpoint']} entries is gone"
        if "key" in each and each["key"] not in chain:
            yield f"the change to {each['key']} is gone"
        if "seen" in each and each["seen"] > seen:
            yield f"{each['seen']} were signed of the other book, {seen} are kept"
        if "signed" in each:
            name, number = each["signed"]
            data = read_note(kept[name].path.read_bytes())
            if witness(number) not in verify_note(data, [witness(number)]):
                yield f"the signature of witness {number} under {name} is gone"
    witnessing.known_witnesses(home)


def faults_afterwards(home: Path) -> Iterator[str]:
    """What is wrong once the key was used again."""
    from pitbird.record.checkpoint import verify_checkpoint
    from pitbird.record.leaf import read_leaf
    from pitbird.services import book_keys, checkpoints
    from pitbird.store import book

    made = checkpoints.make_checkpoint(home)
    keys = book_keys.book_keys(home)
    verify_checkpoint(made.path.read_bytes(), keys[-1])
    book_keys.signing_key(home)
    if (home / "book-key.pub").read_text("utf-8") != f"{keys[-1].text()}\n":
        yield "book-key.pub is not the key in use"
    if left := staged(home):
        yield f"left over: {left}"
    entered = [read_leaf(row.leaf.encode()).body["new_key"] for row in book.of_kind("key-changed")]
    if entered != [book_keys.hex_of(key) for key in keys[1:]]:
        yield f"{len(entered)} changes of key in the book, {len(keys) - 1} beside it"
    for path in home.rglob("*"):
        held = path.suffix in (".pem", ".note", ".new") and path != home / "book-key.pem"
        if held and b"PRIVATE" in path.read_bytes():
            yield f"a private key lies in {path.name}"


def staged(home: Path) -> list[str]:
    """What lies there of a change of key that is under way."""
    return [each.name for each in (home / "keys").rglob("*") if each.suffix in (".pem", ".new")]


def start(home: Path, seed: int) -> subprocess.Popen[bytes]:
    """A worker that waits for its first line."""
    return subprocess.Popen(
        [sys.executable, "-m", "bench.killing_keys", "work", str(home), str(seed)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'src'}"},
    )


def kill(worker: subprocess.Popen[bytes], after: float) -> tuple[list[dict[str, Any]], str | None]:
    """Let it act for so many seconds and kill it: what was done, and what had been begun."""
    assert worker.stdin is not None
    assert worker.stdout is not None
    assert json.loads(worker.stdout.readline()) == {"up": True}
    worker.stdin.write(b"go\n")
    worker.stdin.flush()
    first = json.loads(worker.stdout.readline())
    time.sleep(after)
    alive = worker.poll() is None
    worker.kill()
    done, begun = [], first.get("begin")
    for line in worker.stdout:
        said = json.loads(line) if line.endswith(b"\n") else {}
        begun = said.get("begin", None if "done" in said else begun)
        if "done" in said:
            done.append(said["done"])
    worker.wait()
    worker.stdin.close()
    worker.stdout.close()
    assert alive, "the worker ended by itself"
    return done, begun


def run(kills: int, seed: int) -> Report:
    """Kill so many workers on one book, and look after each."""
    from django.db import connection

    from pitbird.services.checking import full_check

    random, report, inside = Random(seed), Report(), Counter[str]()
    with homes.empty_book() as home:
        begin()
        connection.close()
        done: list[dict[str, Any]] = []
        following = start(home, random.randrange(2**32))
        for number in range(kills):
            worker, following = following, start(home, random.randrange(2**32))
            told, begun = kill(worker, random.uniform(0.0, LONGEST))
            done += told
            inside[begun or "nothing"] += 1
            report.unsettled += bool(staged(home))
            found = [*faults(home, done), *faults_afterwards(home), *faults(home, done)]
            report.faults += [f"kill {number + 1}: {each}" for each in found]
            connection.close()
        following.kill()
        following.communicate()
        report.faults += [check.complaint for check in full_check() if check.complaint]
        report.kills, report.inside = kills, dict(inside)
        report.keys = sum("key" in each for each in done)
        report.checkpoints = sum("checkpoint" in each for each in done)
    return report


if __name__ == "__main__":
    if sys.argv[1] == "work":
        work(Path(sys.argv[2]), int(sys.argv[3]))
    else:
        with homes.folder() as first:
            homes.set_up(first)
        print(json.dumps(asdict(run(int(sys.argv[1]), int((sys.argv[2:] or ["1"])[0])))))
