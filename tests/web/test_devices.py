"""The pages about phones: registered ones, the link to pair another, the waiting room, a PIN."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from django.test import Client

from pitbird.record.leaf import read_leaf
from pitbird.services import clock, field, phones, pins
from pitbird.services.writing import Actor
from pitbird.store import book
from pitbird.store.models import Pin, Waiting
from tests.phone import FieldPhone
from tests.web.conftest import KEEPER, NOON, SITE, TESTER, Cast, ago, passed

BOSS = Actor(KEEPER, SITE, "Europe/Lisbon")


@pytest.fixture
def phone(cast: Cast) -> FieldPhone:
    new = FieldPhone()
    phones.register(new.device, new.alg, new.key, BOSS, label="Digester store", now=ago(60))
    phones.note_known(new.device, TESTER, "pin", ago(50))
    return new


def waits(phone: FieldPhone, code: str = "D-404") -> Waiting:
    """A test of a detector that the book does not know, from the phone."""
    body = {
        **passed(code, ago(5)), "id": clock.new_id(), "zone": "Europe/Lisbon", "by": TESTER, "where": SITE,
    }  # fmt: skip
    [answer] = field.receive([phone.text(body)], person=None, sender=phones.phone(phone.device), now=NOON)
    assert answer.waiting is not None
    return answer.waiting


def form(kept: Waiting, **changed: str) -> dict[str, Any]:
    """What the page's form to put it right sends when nothing but this is changed."""
    from pitbird.services.waiting import draft_of

    draft = draft_of(kept)
    return {
        "act": "correct", "right-detector": draft["detector"].partition(":")[2],
        "right-by": draft["by"].partition(":")[2], "right-at": draft["at"], "right-cylinder-0": "C-112",
        "right-entry": json.dumps(draft, indent=1), **changed,
    }  # fmt: skip


# --- Phones


@pytest.mark.parametrize(
    ("host", "told"),
    [("127.0.0.1:8321", True), ("localhost", True), ("[::1]:8321", True), ("testserver", False)],
)
def test_a_link_that_would_lead_a_phone_to_itself_is_told_before_it_is_made(
    keeper: Client, host: str, told: bool
) -> None:
    page = keeper.get("/devices", headers={"host": host}).content.decode()
    assert ("opens in its own browser and on no phone" in page) is told


def test_the_link_that_the_page_makes_registers_a_phone(keeper: Client, cast: Cast) -> None:
    page = keeper.post("/devices", {"device": "PH-01", "label": "Digester store", "site": SITE})
    said = page.content.decode()
    found = re.search(r"http://testserver/field/pair#([A-Za-z0-9_-]{43})", said)
    assert found is not None
    assert "<svg" in said
    body, new = {"pairing": found[1]}, FieldPhone(alg="ES256")
    answer = Client().post(
        "/api/field/pair",
        json.dumps({"body": body, "signature": new.sign(body)}),
        content_type="application/json",
    )
    assert answer.status_code == 201
    listed = keeper.get("/devices").content.decode()
    assert answer.json()["fingerprint"] in listed
    assert found[1] not in listed


def test_a_code_that_was_used_and_one_that_is_none_are_refused_at_their_field(
    keeper: Client, phone: FieldPhone
) -> None:
    for code, words in (("PH-01", "stands in the book already"), ("a b", "Letters, digits")):
        page = keeper.post("/devices", {"device": code, "label": "", "site": SITE})
        assert page.status_code == 422
        assert words in page.content.decode()


def test_a_phone_that_is_ended_is_said_to_be_so(keeper: Client, phone: FieldPhone) -> None:
    assert keeper.post("/devices/PH-01/end", {"because": "lost"}).status_code == 302
    kept = phones.phone(phone.device)
    assert kept is not None
    assert (kept.ended, kept.because) == (NOON, "lost")
    assert "ended" in keeper.get("/devices").content.decode()
    assert keeper.post("/devices/PH-02/end", {"because": "lost"}).status_code == 404


@pytest.mark.parametrize("address", ["/devices", "/waiting", "/waiting/1"])
def test_they_are_the_keepers_pages(tester: Client, phone: FieldPhone, address: str) -> None:
    waits(phone)
    assert tester.get(address).status_code == 403
    assert tester.post(address, {"act": "again", "device": "PH-09"}).status_code in (403, 405)


def test_phones_are_registered_by_no_other_page(keeper: Client, cast: Cast) -> None:
    assert keeper.get("/write/device").status_code == 404


# --- The waiting room


def test_what_waits_is_shown_with_every_reason(keeper: Client, phone: FieldPhone) -> None:
    kept = waits(phone)
    page = keeper.get("/waiting").content.decode()
    assert "1 entry waits for you" in page
    assert "D-404" in page
    one = keeper.get(f"/waiting/{kept.number}").content.decode()
    assert "the book knows no such detector" in one
    assert kept.digest in one


def test_the_gate_tells_the_keeper_that_something_waits(
    keeper: Client, tester: Client, phone: FieldPhone
) -> None:
    words = "came from a phone and is not in the book"
    assert words not in keeper.get("/").content.decode()
    waits(phone)
    assert words in keeper.get("/").content.decode()
    assert words not in tester.get("/").content.decode()


def test_put_right_it_is_written_with_both_names(keeper: Client, phone: FieldPhone) -> None:
    kept = waits(phone)
    page = keeper.post(f"/waiting/{kept.number}", form(kept, **{"right-detector": "D-019"}))
    assert page.status_code == 302
    row = book.at_index(int(page["Location"].rpartition("/")[2]))
    assert row is not None
    body = read_leaf(row.leaf.encode()).body
    assert (body["by"], body["entered"]["by"], body["detector"]) == (TESTER, KEEPER, "detector:D-019")
    shown = keeper.get(page["Location"]).content.decode()
    assert "Written after what a phone sent" in shown
    again = keeper.post(f"/waiting/{kept.number}", form(kept, **{"right-detector": "D-019"}))
    assert (again.status_code, again["Location"]) == (302, f"/waiting/{kept.number}")


def test_still_wrong_it_is_refused_at_its_field_and_nothing_is_written(
    keeper: Client, phone: FieldPhone
) -> None:
    kept, size = waits(phone), book.head().size
    for changed in ({}, {"right-entry": "{"}, {"right-detector": "D-019", "right-cylinder-0": "C-404"}):
        page = keeper.post(f"/waiting/{kept.number}", form(kept, **changed))
        assert page.status_code == 422
        assert 'class="field__error"' in page.content.decode()
    assert book.head().size == size


def test_set_aside_with_a_reason_it_stays_to_be_read(keeper: Client, phone: FieldPhone) -> None:
    kept = waits(phone)
    assert keeper.post(f"/waiting/{kept.number}", {"act": "aside", "aside-reason": ""}).status_code == 422
    answer = keeper.post(f"/waiting/{kept.number}", {"act": "aside", "aside-reason": "Sent from a drill"})
    assert answer.status_code == 302
    assert "Sent from a drill" in keeper.get("/waiting").content.decode()
    assert "word for word" in keeper.get(f"/waiting/{kept.number}").content.decode()


def test_tried_again_in_vain_it_says_what_stands_against_it_now(keeper: Client, phone: FieldPhone) -> None:
    kept = waits(phone)
    answer = keeper.post(f"/waiting/{kept.number}", {"act": "again"}, follow=True)
    assert "still cannot be written" in answer.content.decode()
    assert Waiting.objects.get().state == "waiting"


# --- PINs


def test_a_tester_sets_their_own_pin_and_nobody_elses(tester: Client, cast: Cast) -> None:
    assert tester.post("/people/P-07/pin", {"pin": "4071", "again": "4071"}).status_code == 302
    assert pins.set_at() == {TESTER: NOON}
    assert "4071" not in Pin.objects.get().hashed
    assert tester.get("/people/K-1/pin").status_code == 403


@pytest.mark.parametrize(("pin", "again"), [("1234", "1234"), ("4071", "4072"), ("", "")])
def test_a_pin_that_cannot_be_is_refused(keeper: Client, cast: Cast, pin: str, again: str) -> None:
    page = keeper.post("/people/P-07/pin", {"pin": pin, "again": again})
    assert page.status_code == 422
    assert pins.set_at() == {}
