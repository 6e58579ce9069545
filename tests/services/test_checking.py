"""Doctor and start: what was changed behind the book's back is found and named."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection

from pitbird.fleet.times import MINUTE
from pitbird.record.merkle import Frontier
from pitbird.services import clock
from pitbird.services.checking import Check, full_check, quick_check
from pitbird.services.moving import rebuild
from pitbird.services.writing import Actor, write
from pitbird.store import book, guards
from pitbird.store.models import Head, Standing
from tests.bodies import at, bump, ms


def complaints(check: Callable[[], tuple[Check, ...]]) -> list[str]:
    """What is wrong, in words, with its remedy."""
    return [f"{c.what}: {c.complaint} -> {c.remedy}" for c in check() if c.complaint]


def behind_its_back(*statements: str) -> None:
    """Change the database as somebody with full access would, then put the guards back."""
    with connection.cursor() as cursor:
        for name in guards.names(connection.vendor):
            on = f" ON {name.rsplit('_no_', 1)[0]}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER {name}{on}")
        for statement in statements:
            cursor.execute(statement)
    guards.put_back()


@pytest.fixture(autouse=True)
def _a_book_with_a_test(fleet: Actor) -> None:
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    write(bump(at("07:30"), by="person:P-07", missed="CO"), fleet, now=ms("07:31"))


def test_a_book_as_it_should_be_has_nothing_wrong() -> None:
    assert complaints(full_check) == []
    assert complaints(quick_check) == []


CHANGES = {
    "a failed test made a passed one": (
        'UPDATE store_entry SET leaf = replace(leaf, \'"reached":"no"\', \'"reached":"yes"\')',
        "not what its hash says",
    ),
    "an entry removed from the middle": ('DELETE FROM store_entry WHERE "index" = 6', "missing|another hash"),
    "the newest entry removed": (
        'DELETE FROM store_entry WHERE "index" = (SELECT MAX("index") FROM store_entry)',
        "head",
    ),
    "a column that is searched by changed": ("UPDATE store_entry SET kind = 'note'", "searched by"),
    "a leaf with its hash changed": (
        """UPDATE store_entry SET leaf_hash = (SELECT leaf_hash FROM store_entry WHERE "index" = 1)
        WHERE "index" = 4""",
        "hash",
    ),
}


@pytest.mark.parametrize(("statement", "told"), CHANGES.values(), ids=CHANGES.keys())
@pytest.mark.parametrize("check", [full_check, quick_check])
def test_a_change_behind_its_back_is_found(
    statement: str, told: str, check: Callable[[], tuple[Check, ...]]
) -> None:
    behind_its_back(statement)
    found = complaints(check)
    assert found
    assert any(word in " ".join(found) for word in told.split("|"))
    assert "restore a copy" in " ".join(found)


def test_a_mention_taken_away_is_found_by_the_full_check() -> None:
    behind_its_back("DELETE FROM store_mention WHERE nth = 2 AND subject = 'detector:D-017'")
    assert any("does not agree" in told for told in complaints(full_check))


@pytest.mark.parametrize("check", [full_check, quick_check])
def test_a_state_that_differs_is_found_with_its_remedy(check: Callable[[], tuple[Check, ...]]) -> None:
    text = Standing.objects.get(subject="detector:D-017").state
    Standing.objects.filter(subject="detector:D-017").update(state=text.replace("test-failed", "test-passed"))
    assert any("pitbird book rebuild" in told for told in complaints(check))


def test_a_mention_with_another_time_is_found_by_the_full_check() -> None:
    behind_its_back("UPDATE store_mention SET at = at - 1 WHERE nth = 2 AND subject = 'detector:D-017'")
    assert any("does not agree" in told for told in complaints(full_check))


def test_a_mention_that_hides_a_correction_is_found_by_the_full_check() -> None:
    behind_its_back("UPDATE store_mention SET correction = NOT correction WHERE subject = 'detector:D-017'")
    assert any("does not agree" in told for told in complaints(full_check))


@pytest.mark.parametrize("check", [full_check, quick_check])
def test_a_state_with_another_digest_than_its_own_is_found(check: Callable[[], tuple[Check, ...]]) -> None:
    Standing.objects.filter(subject="detector:D-017").update(digest=b"\2" * 32)
    assert any("pitbird book rebuild" in told for told in complaints(check))
    rebuild()
    assert complaints(check) == []


@pytest.mark.parametrize("check", [full_check, quick_check])
def test_a_head_that_differs_is_found(check: Callable[[], tuple[Check, ...]]) -> None:
    Head.objects.update(frontier=Frontier(0, ()).append(b"\1" * 32).to_bytes())
    assert any("head" in told for told in complaints(check))


def test_guards_taken_away_are_named() -> None:
    name = "store_mention_no_delete" if connection.vendor == "sqlite" else "store_mention_no_truncate"
    on = " ON store_mention" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {name}{on}")
    assert any(name in told and "put-guards-back" in told for told in complaints(quick_check))


@pytest.mark.parametrize("check", [full_check, quick_check])
def test_a_clock_behind_the_newest_entries_is_told_with_the_way_on(
    check: Callable[[], tuple[Check, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    newest = max(row.recorded_at for row in book.newest(50))
    monkeypatch.setattr(clock, "now", lambda: newest - 2 * MINUTE)
    assert complaints(check) == []
    monkeypatch.setattr(clock, "now", lambda: newest - 2 * MINUTE - 1)
    (told,) = complaints(check)
    assert "by the clock, and an entry was recorded at" in told
    assert "set the clock" in told
    assert "--clock-is-right" in told
