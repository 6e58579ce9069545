"""Errors of the record: each says what is wrong, where, and what to do."""

from collections.abc import Iterable


class RecordError(ValueError):
    """Base of everything the record refuses.

    ``what`` is the fault, ``where`` a JSON path (``$.body.at``), an argument or a line, ``remedy`` what to
    do about it.
    """

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        self.what = what
        self.where = where
        self.remedy = remedy
        place = f"{where}: " if where else ""
        advice = f" {remedy}" if remedy else ""
        super().__init__(f"{place}{what}.{advice}")


class NotCanonical(RecordError):
    """A value or text lies outside the canonical form: wrong type, float, big number, other spelling."""


class NotJson(NotCanonical):
    """The bytes are not JSON text in UTF-8 at all."""


class DuplicateKey(NotCanonical):
    """An object names the same key twice, so that two readers could see two different values."""

    def __init__(self, key: str, *, where: str) -> None:
        self.key = key
        super().__init__(
            f"the key {key!a} stands twice in one object",
            where=where,
            remedy="Keep one of the two; which one was meant cannot be told from here.",
        )


class BadLeaf(RecordError):
    """A leaf does not have the shape of an entry; ``faults`` holds every fault found, not only the first."""

    def __init__(self, faults: Iterable[str]) -> None:
        self.faults = tuple(faults)
        super().__init__(
            "; ".join(self.faults), where="leaf", remedy="Put right every point named; nothing was kept."
        )


class BadTime(RecordError):
    """A time is not of the form YYYY-MM-DDTHH:MM:SS.mmmZ, is not a real one, or has no zone."""


class BadSeal(RecordError):
    """A salt or blob cannot be sealed or written as asked."""


class BadSignature(RecordError):
    """A signature is malformed, or was not made by its key over this body."""


class BadTree(RecordError):
    """A tree was asked for something it does not hold, or was given something that is not a hash."""


class ProofRefused(RecordError):
    """A proof does not show what it is held to show. Whatever the garbage, a verifier raises only this."""


class BadCover(RecordError):
    """A cover is malformed, too short or too long, or was asked for entries that cannot be in the book."""


class BadNote(RecordError):
    """A signed note or a verifier key is malformed, or a signature was not made by the key it names."""


class BadCheckpoint(RecordError):
    """A checkpoint or its census is malformed, of another book, or not signed by the key asked for."""


class BadArchive(RecordError):
    """A ZIP file that is none, could be read in two ways, or holds bytes that no file owns."""


class BookBroken(RecordError):
    """An exported book fails verification; ``line`` is the number of the line, counted from 1."""

    def __init__(self, what: str, *, line: int, remedy: str) -> None:
        self.line = line
        super().__init__(what, where=f"line {line}", remedy=remedy)
