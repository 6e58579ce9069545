"""The demonstration's book: the invented undertaking's two years, simulated and appended."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final

from pitbird.demo.looking_back import decided
from pitbird.demo.simulator import simulate
from pitbird.fleet.times import DAY, Ms
from pitbird.rules.loading import document_of, load_shipped
from pitbird.services.beginning import book_begun
from pitbird.services.bulk import Recorded, append_history

SEED: Final = 20_260_301
YEARS: Final = 2


def prepare_demo(*, now: Ms, say: Callable[[str], None], seed: int = SEED) -> bool:
    """Append the invented history up to ``now`` if there is no book yet; False if there was one."""
    if book_begun():
        return False
    say(f"Making up {YEARS} years of an invented water and biogas undertaking ...")
    size = 0
    for size in append_history(history(now=now, seed=seed)):
        if size % 20_000 == 0:
            say(f"  {size:,} entries in the book")
    say(f"  {size:,} entries in the book, every one hashed into it")
    return True


def history(*, now: Ms, seed: int = SEED, years: float = YEARS) -> Iterator[Recorded]:
    """The simulated entries as a history to append, in the order in which they were recorded."""
    rules = load_shipped("strict")
    start = Ms(now - int(years * 365.25 * DAY))
    entries = simulate(
        seed=seed, start=start, end=now, rules_document=document_of(rules), rules_id=f"rules:{rules.id}"
    )
    for simulated in decided(entries, seed=seed, end=now):
        yield Recorded(simulated.body, simulated.texts, simulated.recorded_at)
