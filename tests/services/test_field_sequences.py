"""Random lives of phones in the field: every act of every phone ends once, and the verdicts follow the rules.

``python3 run.py bench field`` lives a thousand of them.
"""

from __future__ import annotations

from collections import Counter

import pytest
from django.db import transaction

from tests.field_life import FATES, begin, live

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
ACTS = 90


def lived(seed: int) -> tuple[Counter[str], int]:
    """One life, taken back afterwards."""
    with transaction.atomic():
        found = live(seed, ACTS)
        transaction.set_rollback(True)
    return found


def test_nothing_is_lost_nothing_stands_twice_and_the_rules_are_kept() -> None:
    """The lives check themselves; that every end is among them shows that each can be met."""
    begin()
    ended: Counter[str] = Counter()
    for seed in range(12):
        found, _ = lived(seed)
        ended += found
    assert set(ended) == set(FATES), ended
