"""The entry that says what came of looking back on earlier work."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import Field, model_validator

from pitbird.fleet.kinds.base import Body, EntryId, Instant, PersonRef, Sealed, Subject, common

_SORTS = {"detector", "cylinder", "person"}


class LookBack(Body):
    """Earlier work was looked back on, and somebody decided whether it is affected.

    ``of`` is where the doubt began: a detector that failed a test or a calibration (``failed`` names that
    entry), one or more cylinders of test gas, or the person who tested. ``book_size`` is how many entries the
    book held when the list of uses was looked at: what was written later was not on it. It changes no state
    and no decision of the gate.

    ISO 9001:2015, 7.1.5.2: when equipment is found unfit, determine whether earlier results are affected, and
    act.
    """

    SEALED: ClassVar[tuple[str, ...]] = ("done",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "look-back",
        **common(31),
        "of": ["detector:D-017"],
        "failed": "0195a000-0000-7000-8000-000000000007",
        "book_size": 4711,
        "assessed_by": "person:P-02",
        "outcome": "no-work-affected",
        "done": "sha256:" + "3c" * 32,
    }
    kind: Literal["look-back"] = "look-back"
    of: Annotated[tuple[Subject, ...], Field(min_length=1, max_length=500)]
    failed: EntryId | None = None
    looked_from: Instant | None = None
    looked_to: Instant | None = None
    book_size: Annotated[int, Field(ge=1, le=2**53 - 1, strict=True)]
    assessed_by: PersonRef
    outcome: Literal["no-work-affected", "work-affected", "cannot-be-told"]
    done: Sealed

    def subjects(self) -> tuple[str, ...]:
        return self.of

    @model_validator(mode="after")
    def _it_is_of_one_sort(self) -> Self:
        sorts = {subject.partition(":")[0] for subject in self.of}
        if len(sorts) > 1 or not sorts <= _SORTS:
            raise ValueError("'of' names things of one sort: a detector, cylinders or a person")
        if len(self.of) > 1 and sorts != {"cylinder"}:
            raise ValueError("'of' names one detector or one person; only of cylinders may there be more")
        if (self.failed is not None) != (sorts == {"detector"}):
            raise ValueError("'failed' names the failed test or calibration of a detector, and only that")
        if self.looked_from and self.looked_to and self.looked_to < self.looked_from:
            raise ValueError("'looked_to' lies before 'looked_from'")
        return self
