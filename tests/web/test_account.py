"""Signing in, signing out, and the first start."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.test import Client

from pitbird.services.beginning import book_begun, first_start_key
from pitbird.store import book
from pitbird.store.models import Login
from tests.web.conftest import Cast

PASSWORD = "drizzle-over-the-weir"
BOOK = {
    "title": "Portable gas detectors", "site_name": "North works", "site": "north-works",
    "zone": "Europe/Lisbon", "keeper_name": "Ilda Fontanova", "keeper": "K-1", "rules": "strict",
    "account": "ilda", "password": PASSWORD, "again": PASSWORD,
}  # fmt: skip


@pytest.fixture
def address(db: None) -> str:
    """The address that the terminal shows, with a fresh key."""
    (settings.CONFIG.home / "first-start-key").unlink(missing_ok=True)
    return f"/first-start?key={first_start_key(settings.CONFIG.home)}"


def faults(answer: Any) -> dict[str, list[str]]:
    """The faults of a refused page by field."""
    assert answer.status_code == 422
    return {name: list(found) for name, found in answer.context["form"].errors.items()}


def test_the_first_start_begins_the_book_makes_the_account_and_signs_in(address: str) -> None:
    client = Client()
    assert "Who keeps this book?" in client.get(address).content.decode()
    answer = client.post(address, BOOK)
    assert (answer.status_code, answer["Location"]) == (302, "/")
    assert [row.kind for row in reversed(book.newest(9))] == ["genesis", "site", "person", "rules-adopted"]
    login = Login.objects.get()
    assert (login.user.get_username(), login.person, login.site) == ("ilda", "person:K-1", "site:north-works")
    assert "You" not in login.user.password
    assert client.get("/").status_code == 200


def test_the_key_opens_once(address: str) -> None:
    Client().post(address, BOOK)
    assert not Path(settings.CONFIG.home / "first-start-key").exists()
    answer = Client().get(address)
    assert (answer.status_code, answer["Location"]) == (302, "/sign-in")


@pytest.mark.parametrize("end", ["", "?key=", "?key=wrong", "?key=%C3%A9"])
def test_without_the_right_key_the_page_stays_closed(address: str, end: str) -> None:
    answer = Client().get(f"/first-start{end}")
    assert answer.status_code == 403
    assert "Look at the window in which pitbird was started" in answer.content.decode()
    assert Client().post(f"/first-start{end}", BOOK).status_code == 403
    assert not book_begun()


def test_every_fault_of_the_first_page_is_named_and_nothing_is_written(address: str) -> None:
    client = Client()
    found = faults(client.post(address, {}))
    assert set(found) == set(BOOK)
    found = faults(
        client.post(
            address, {**BOOK, "site": "north works", "again": "something-else", "zone": "Mars/Crater"}
        )
    )
    assert set(found) == {"site", "again", "zone"}
    assert not book_begun()
    assert not User.objects.exists()


@pytest.mark.parametrize("password", ["short", "1234567890123", "password123"])
def test_a_weak_password_is_refused_and_the_book_is_not_begun(address: str, password: str) -> None:
    found = faults(Client().post(address, {**BOOK, "password": password, "again": password}))
    assert set(found) == {"password"}
    assert not book_begun()


def test_where_there_is_a_book_only_the_account_is_asked_for(cast: Cast, address: str) -> None:
    client = Client()
    page = client.get(address).content.decode()
    assert "You will write as Ilda Fontanova." in page
    assert "keeper_name" not in page
    answer = client.post(address, {"account": "ilda", "password": PASSWORD, "again": PASSWORD})
    assert answer.status_code == 302
    assert Login.objects.get().person == "person:K-1"
    assert book.head().size == 17


def test_signing_in_and_out(address: str) -> None:
    Client().post(address, BOOK)
    client = Client()
    refused = client.post("/sign-in", {"username": "ilda", "password": "not that"})
    assert refused.status_code == 200
    told = refused.content.decode()
    assert 'role="alert"' in told
    assert "You are not signed in:" in told
    assert "Nothing was written" not in told
    assert "do not belong together" in told
    answer = client.post("/sign-in?next=/gas", {"username": "ilda", "password": PASSWORD})
    assert (answer.status_code, answer["Location"]) == (302, "/gas")
    assert client.get("/sign-out").status_code == 405  # a link or a picture must not sign anybody out
    assert client.post("/sign-out").status_code == 302
    assert client.get("/")["Location"].startswith("/sign-in")


def test_signing_in_leads_to_no_other_place(address: str) -> None:
    Client().post(address, BOOK)
    answer = Client().post(
        "/sign-in?next=https://elsewhere.example/", {"username": "ilda", "password": PASSWORD}
    )
    assert answer["Location"] == "/"


def test_the_sign_in_page_ties_its_labels_to_its_fields(db: None) -> None:
    page = Client().get("/sign-in").content.decode()
    for name in re.findall(r'<label for="([^"]+)"', page):
        assert f'id="{name}"' in page


def test_the_keeper_lets_somebody_in_who_then_writes_under_their_own_name(keeper: Client) -> None:
    page = keeper.get("/people/P-07/account").content.decode()
    assert "How does Rui Marrel sign in?" in page
    data = {"account": "rui", "password": PASSWORD, "again": PASSWORD}
    assert set(
        faults(keeper.post("/people/P-07/account", {**data, "password": "short", "again": "short"}))
    ) == {"password"}
    assert keeper.post("/people/P-07/account", data)["Location"] == "/people/P-07"
    client = Client()
    assert client.post("/sign-in", {"username": "rui", "password": PASSWORD})["Location"] == "/"
    assert Login.objects.get(user__username="rui").person == "person:P-07"
    assert "As “rui”." in keeper.get("/people/P-07/account").content.decode()
    keeper.post("/people/P-07/account", {**data, "account": "rui2"})
    assert not User.objects.filter(username="rui2").exists()


def test_a_tester_lets_nobody_in(tester: Client) -> None:
    data = {"account": "mole", "password": PASSWORD, "again": PASSWORD}
    assert tester.post("/people/K-1/account", data).status_code == 403
    assert not User.objects.filter(username="mole").exists()


def test_everybody_changes_their_own_password(address: str) -> None:
    client = Client()
    client.post(address, BOOK)
    new = "heron-on-the-penstock"
    refused = client.post("/password", {"old_password": "x", "new_password1": new, "new_password2": new})
    assert "old_password" in refused.context["form"].errors
    done = client.post("/password", {"old_password": PASSWORD, "new_password1": new, "new_password2": new})
    assert done.status_code == 302
    assert client.get("/").status_code == 200
    assert Client().post("/sign-in", {"username": "ilda", "password": new}).status_code == 302


def test_who_has_left_writes_no_more(cast: Cast, tester: Client) -> None:
    cast.write(
        {
            "kind": "person",
            "person": "person:P-07",
            "name": "Rui Marrel",
            "roles": ["tester"],
            "left": "2026-03-01",
        },
        minutes_ago=5,
    )
    assert tester.get("/write/happened?about=D-017").status_code == 403
    assert tester.get("/").status_code == 200


def test_while_nobody_can_sign_in_the_page_says_where_to_look(address: str) -> None:
    assert "Nobody can sign in yet." in Client().get("/sign-in").content.decode()
    Client().post(address, BOOK)
    assert "Nobody can sign in yet." not in Client().get("/sign-in").content.decode()


def test_after_five_wrong_passwords_a_name_waits_even_with_the_right_one(address: str) -> None:
    Client().post(address, BOOK)
    client = Client()
    for _ in range(5):
        client.post("/sign-in", {"username": "ilda", "password": "not that"})
    refused = client.post("/sign-in", {"username": "Ilda ", "password": PASSWORD})
    assert "Wait five minutes" in refused.content.decode()
    assert client.get("/").status_code == 302


def test_the_right_password_forgets_earlier_slips(address: str) -> None:
    Client().post(address, BOOK)
    for wrong in (4, 4):
        for _ in range(wrong):
            Client().post("/sign-in", {"username": "ilda", "password": "not that"})
        answer = Client().post("/sign-in", {"username": "ilda", "password": PASSWORD})
        assert answer.status_code == 302
