"""The doctor finds what is wrong and changes nothing by itself."""

import json

from tests.cli.conftest import Pitbird


def test_a_book_that_is_as_it_should_be_has_nothing_wrong(begun: Pitbird) -> None:
    done = begun("doctor")
    assert done.status == 0, done.out
    assert "WRONG" not in done.out
    assert "the 10 entries make the root" in done.out


def test_a_missing_guard_is_named_and_put_back_on_request(begun: Pitbird) -> None:
    from django.db import connection

    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("DROP TRIGGER store_entry_no_update")
        else:
            cursor.execute("DROP TRIGGER store_entry_no_update ON store_entry")
    found = begun("doctor")
    assert found.status == 1
    assert "store_entry_no_update missing" in found.out
    assert begun("doctor").status == 1
    assert begun("doctor --put-guards-back").status == 0


def test_a_state_that_differs_is_named_and_left_as_it_is(begun: Pitbird) -> None:
    from pitbird.store.models import Standing

    row = Standing.objects.get(subject="detector:D-017")
    state = json.loads(row.state) | {"serial": "Q-2"}
    Standing.objects.filter(subject="detector:D-017").update(state=json.dumps(state))
    found = begun("doctor")
    assert found.status == 1
    assert "1 differ, first detector:D-017; run `pitbird book rebuild`" in found.out
    assert json.loads(Standing.objects.get(subject="detector:D-017").state)["serial"] == "Q-2"
    assert "1 had differed" in begun("book rebuild").out
    assert begun("doctor").status == 0


def test_a_changed_entry_is_found(begun: Pitbird) -> None:
    from django.db import connection

    from pitbird.store.models import Entry

    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("DROP TRIGGER store_entry_no_update")
        else:
            cursor.execute("DROP TRIGGER store_entry_no_update ON store_entry")
    entry = Entry.objects.get(index=5)
    Entry.objects.filter(index=5).update(leaf=entry.leaf.replace("Quartet P", "Quartet Q"))
    found = begun("doctor")
    assert found.status == 1
    assert "entry 5 is not what its hash says" in found.out
    assert "do not rely on it" in found.out
