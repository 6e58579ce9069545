"""That all entries about one subject are there: numbers 1 to n without a gap, where n is what the census of a
signed checkpoint counts, each entry under the root of that checkpoint.

As JSON (``pitbird-subject/1``): ``subject``; ``checkpoint``, the signed note as text; ``census``, the whole
object that it commits to; ``entries``, in order, each of ``index`` and ``leaf``; ``tree``, the lines of their
cover without line feeds (``record.cover``).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, NoReturn

from pitbird.record.canonical import canonical, parse
from pitbird.record.checkpoint import Checkpoint, census_bytes, read_census, verify_checkpoint
from pitbird.record.cover import read_cover
from pitbird.record.errors import ProofRefused, RecordError
from pitbird.record.leaf import read_leaf
from pitbird.record.note import VerifierKey

FORMAT = "pitbird-subject/1"
_KEYS = {"census", "checkpoint", "entries", "format", "subject", "tree"}
_NOT_SHOWN = "Do not rely on it; ask the keeper of the book why."
_AGAIN = "Get the file again from the keeper and do not edit it."


@dataclass(frozen=True, slots=True)
class Complete:
    """What was shown: the book of ``origin`` had ``size`` entries, ``count`` of them about the subject, and
    these are they; ``indices`` are their places."""

    subject: str
    count: int
    indices: tuple[int, ...]
    origin: str
    size: int
    root: bytes


def check_complete(
    subject: str,
    entries: Iterable[tuple[int, bytes]],
    tree: Iterable[bytes],
    checkpoint: Checkpoint,
    census: Mapping[str, int],
) -> Complete:
    """Check index and leaf of each entry about a subject against a checkpoint that the caller verified, and
    its census. Raises ProofRefused where one is missing, is not of this subject, or is not in the book."""
    indices: list[int] = []
    hashes: list[bytes] = []
    for place, (index, raw) in enumerate(entries, start=1):
        try:
            leaf = read_leaf(raw)
        except RecordError as error:
            _refuse(f"entry {index} is none: {error.what}", "entries")
        number = leaf.nth.get(subject)
        if number != place:
            said = "not about it" if number is None else f"its entry {number}"
            _refuse(f"entry {index} is {said}, where its entry {place} belongs", "entries")
        indices.append(index)
        hashes.append(leaf.hash)
    counted = census.get(subject, 0)
    if len(indices) != counted:
        _refuse(f"{len(indices)} entries are here, the census counts {counted}", "entries")
    try:
        for (index, claimed, established), own in zip(
            read_cover(tree, checkpoint.size, indices, checkpoint.root), hashes, strict=True
        ):
            if not established:
                _refuse(f"its lines do not lead from the root to entry {index}", "tree")
            if claimed != own:
                _refuse(f"another entry {index} stands in the book", "entries")
    except RecordError as error:
        if isinstance(error, ProofRefused):
            raise
        _refuse(f"{error.where}: {error.what}", "tree")
    return Complete(subject, counted, tuple(indices), checkpoint.origin, checkpoint.size, checkpoint.root)


def subject_value(
    subject: str,
    entries: Iterable[tuple[int, bytes]],
    tree: Iterable[bytes],
    note: bytes,
    census: Mapping[str, int],
) -> dict[str, Any]:
    """The JSON value of such a proof."""
    return {
        "census": dict(census),
        "checkpoint": note.decode("utf-8"),
        "entries": [{"index": index, "leaf": parse(raw)} for index, raw in entries],
        "format": FORMAT,
        "subject": subject,
        "tree": [line.removesuffix(b"\n").decode("ascii") for line in tree],
    }


def verify_subject(data: bytes, key: VerifierKey) -> Complete:
    """Verify such a proof by the book's key, which the caller trusts. Raises RecordError, whatever the bytes
    are."""
    value = parse(data)
    if type(value) is not dict or value.keys() != _KEYS:
        _refuse(f"not an object of {', '.join(sorted(_KEYS))}", "proof", _AGAIN)
    if value["format"] != FORMAT:
        _refuse(
            f"the format is {value['format']!a}, not {FORMAT}",
            "format",
            "Use a version that reads this format.",
        )
    subject, census, note = value["subject"], value["census"], value["checkpoint"]
    if type(subject) is not str or type(note) is not str or type(census) is not dict:
        _refuse("subject and checkpoint are texts, the census is an object", "proof", _AGAIN)
    checkpoint = verify_checkpoint(note.encode("utf-8"), key).checkpoint
    read_census(census_bytes(census), checkpoint)
    entries, tree = value["entries"], value["tree"]
    if type(entries) is not list or not all(
        type(each) is dict and each.keys() == {"index", "leaf"} for each in entries
    ):
        _refuse("not a list of objects of index and leaf", "entries", _AGAIN)
    if type(tree) is not list or not all(type(line) is str and line.isascii() for line in tree):
        _refuse("not a list of lines", "tree", _AGAIN)
    return check_complete(
        subject,
        ((each["index"], canonical(each["leaf"])) for each in entries),
        (line.encode("ascii") for line in tree),
        checkpoint,
        census,
    )


def _refuse(what: str, where: str, remedy: str = _NOT_SHOWN) -> NoReturn:
    raise ProofRefused(what, where=where, remedy=remedy)
