"""What is found out about a bundle, and how faults are told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from typing import Any, Final, Literal, Protocol

from pitbird.record.errors import BadArchive

Answer = Literal["holds", "consistent in itself", "does not hold", "refused"]
EXIT: Final[dict[Answer, int]] = {"holds": 0, "does not hold": 1, "refused": 2, "consistent in itself": 3}
TOLD: Final = 100
"""Faults of one code that are told; the rest are only counted."""
MAX_SMALL: Final = 64 << 20
MAX_LINE: Final = 64 << 20


class Files(Protocol):
    """The files of a bundle: packed in a ZIP file, or lying in a folder."""

    @property
    def names(self) -> tuple[str, ...]:
        """Their names."""

    def read(self, name: str) -> Iterator[bytes]:
        """The bytes of one in pieces; raises BadArchive where they cannot be had."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What is not right: its code (docs/bundle.md), in which file, at which entry, in words."""

    code: str
    file: str
    index: int | None
    what: str


@dataclass(slots=True)
class BundleReport:
    """What a bundle was found to be; ``faults`` are told in full up to TOLD of each code."""

    answer: Answer = "refused"
    origin: str | None = None
    size: int | None = None
    root: str | None = None
    fingerprint: str | None = None
    entries: int = 0
    subjects: int = 0
    withheld: int = 0
    signed: int = 0
    witnesses: list[str] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    papers: list[tuple[str, str]] = field(default_factory=list)
    asked: Any = None

    def as_json(self) -> dict[str, Any]:
        """The report as docs/bundle.md describes it."""
        value = asdict(self)
        value["papers"] = [{"code": text, "found": found} for text, found in self.papers]
        return value


class Refused(Exception):
    """It cannot be read as a bundle; what else might be said of it would be a guess."""


@dataclass(slots=True)
class Desk:
    """The files on it, and the report that is being written about them."""

    files: Files
    report: BundleReport = field(default_factory=BundleReport)
    _told: dict[str, int] = field(default_factory=dict)

    def fault(self, code: str, file: str, what: str, index: int | None = None) -> None:
        """Tell of a fault and go on."""
        self._told[code] = self._told.get(code, 0) + 1
        if self._told[code] <= TOLD:
            self.report.faults.append(Fault(code, file, index, what))

    def refuse(self, code: str, file: str, what: str) -> Refused:
        """Tell of the one fault after which nothing can be said; to be raised."""
        self.report.faults = [Fault(code, file, None, what)]
        return Refused()

    def whole(self, name: str) -> bytes:
        """A small file. Raises Refused."""
        data = bytearray()
        for piece in self.pieces(name):
            data += piece
            if len(data) > MAX_SMALL:
                raise self.refuse("zip", name, "larger than such a file can be")
        return bytes(data)

    def pieces(self, name: str) -> Iterator[bytes]:
        """The bytes of a file. Raises Refused."""
        try:
            yield from self.files.read(name)
        except BadArchive as error:
            raise self.refuse("zip", name, error.what) from error

    def lines(self, name: str) -> Iterator[bytes]:
        """The lines of a file without their line feeds. Raises BadArchive where the last has none."""
        rest = b""
        for piece in self.pieces(name):
            *lines, rest = (rest + piece).split(b"\n")
            yield from lines
            if len(rest) > MAX_LINE:
                raise self.refuse("zip", name, "a line is longer than one can be")
        if rest:
            raise BadArchive("the last line is cut short")

    def one_line(self, name: str) -> str:
        """The one line of a small file. Raises BadArchive where it is none; Refused."""
        data = self.whole(name)
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError:
            raise BadArchive("the bytes are not UTF-8") from None
        if not text.endswith("\n"):
            raise BadArchive("its line does not end with a line feed")
        return text[:-1]
