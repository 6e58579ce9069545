"""All pages alike: who may open them, what headers they carry, that nothing stands inline."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from pitbird.web.forms.questions import QUESTIONS
from tests.web.conftest import Cast

OPEN = {"/health", "/sign-in", "/first-start"}
#: The field page is a shell alike for everybody: what a phone carries comes by the API.
FIELD = {
    "/field/", "/field/pair", "/field/worker.js", "/field/manifest.webmanifest", "/field/words/de.json",
}  # fmt: skip
#: Open to everybody too, where the server runs with a trial authority.
TRIAL = {"/trust", "/trust/authority.crt"}
ARGUMENTS = {
    "rules_id": "strict",
    "code": "D-017",
    "index": "0",
    "entry_id": "0195a000-0000-7000-8000-000000000001",
    "kind": "note",
    "name": "detectors",
    "detector": "D-017",
    "secret": "x" * 43,
    "subject": "detector:D-017",
    "size": "12",
    "number": "1",
    "digest": "ab" * 32,
    "tag": "de",
}
ABOUT = {
    "detector": "detector:D-018",
    "cylinder": "cylinder:C-112",
    "person": "person:P-07",
    "any": "site:north-works",
}


def all_addresses() -> list[str]:
    """Every address there is, with something in place of its arguments."""

    def walk(patterns: list[URLPattern | URLResolver], before: str) -> list[str]:
        found = []
        for pattern in patterns:
            here = before + str(pattern.pattern)
            if isinstance(pattern, URLResolver):
                found += walk(pattern.url_patterns, here)
            else:
                filled = re.sub(r"[<{](?:\w+:)?(\w+)[>}]", lambda match: ARGUMENTS[match[1]], here)
                found.append("/" + filled.strip("^$"))
        return found

    return sorted(set(walk(get_resolver().url_patterns, "")))


def pages() -> list[str]:
    """Pages that a keeper can open in the small book."""
    plain = [
        "/", "/?verdict=not-yet&q=d-01", "/?at=2026-03-02T11:00&known=9", "/detectors",
        "/detectors?q=quartet",
        "/detectors/D-017", "/detectors/D-018", "/detectors/D-019", "/detectors/D-017/complete", "/gas",
        "/gas/C-112",
        "/gas/C-112/serves/D-017", "/calculations", "/calculations/challenge",
        "/calculations/cylinder", "/people",
        "/people/P-07", "/people/P-07/account", "/people/P-07/erase", "/retention", "/seen", "/doubts",
        "/bundle", "/audits", "/labels", "/checkpoints", "/rules/own", "/devices", "/waiting",
        "/people/P-07/pin",
        "/evidence", "/evidence?by=type&clock=handed-out", "/evidence/wear",
        "/rules/us/would", "/attempts", "/attempts?since=2026-03-01&until=2026-03-02", "/book/4/erase",
        "/password", "/tables/detectors", "/book",
        "/book/0", "/book/4", "/book/16", "/book/4/replace", "/book/16/replace", "/rules",
        "/write/detector?like=D-017", "/write/detector?about=D-017", "/write/cylinder?like=C-112",
        "/look-back", "/look-back?site=north-works", "/look-back/16", "/look-back/16?rate=0.2",
        "/look-back/gas/C-112",
        "/look-back/gas/C-112?since=2026-03-02&until=2026-03-02", "/look-back/person/P-07",
        "/write/person?about=P-07", "/write/site?about=north-works", "/write/handed-out",
    ]  # fmt: skip
    for kind, question in QUESTIONS.items():
        if kind == "correction":
            plain.append("/write/correction?entry=16")
        else:
            plain.append(
                f"/write/{kind}?about={ABOUT[question.about]}" if question.about else f"/write/{kind}"
            )
    return plain


class _Inline(HTMLParser):
    """Finds inline scripts and styles, which the content security policy would refuse."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.ids: list[str] = []
        self.outside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "style" or (tag == "script" and "src" not in given):
            self.found.append(tag)
        self.found += [f"{tag} {name}" for name in given if name == "style" or name.startswith("on")]
        if given.get("id"):
            self.ids.append(str(given["id"]))
        for name in ("src", "href", "action"):
            if re.match(r"(https?:)?//", given.get(name) or ""):
                self.outside.append(str(given[name]))


@pytest.mark.parametrize("address", all_addresses())
def test_nobody_who_is_not_signed_in_sees_anything_but_the_doors(cast: Cast, address: str) -> None:
    answer = Client().get(address)
    if address in OPEN:
        assert answer.status_code in (200, 403)
    elif address in FIELD:
        assert (answer.status_code, answer.cookies.output()) == (200, "")
    elif address in TRIAL:
        assert answer.status_code == 404
    elif address.startswith("/audit") and not address.startswith("/audits"):
        assert answer.status_code == (302 if "/in/" in address else 405 if "bundle" in address else 403)
        assert answer.get("Location", "/audit") == "/audit"
    elif address.startswith("/api/"):
        assert answer.status_code in (401, 405, 302, 404)
    else:
        assert answer.status_code == 302
        assert answer["Location"].startswith("/sign-in")
    assert "D-017" not in answer.content.decode()
    assert "Marrel" not in answer.content.decode()


@pytest.mark.parametrize("address", ["/write/note?about=detector:D-017", "/write/out-of-service?about=D-017"])
def test_nobody_who_is_not_signed_in_writes_anything(cast: Cast, address: str) -> None:
    answer = Client().post(address, {"text": "x", "because": "lost"})
    assert answer.status_code == 302
    assert answer["Location"].startswith("/sign-in")


@pytest.mark.parametrize("address", pages())
def test_a_page_opens_with_the_policy_and_nothing_inline(keeper: Client, address: str) -> None:
    answer = keeper.get(address)
    assert answer.status_code == 200
    policy = answer["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    seen = _Inline()
    seen.feed(answer.content.decode())
    assert seen.found == []
    assert seen.outside == []
    assert len(set(seen.ids)) == len(seen.ids)


@pytest.mark.parametrize(
    "name", ["gate", "test", "detectors", "gas", "book", "logout", "sign-in", "first-start"]
)
def test_every_name_that_the_head_of_the_page_needs_leads_somewhere(name: str) -> None:
    assert reverse(name).startswith("/")


def test_the_head_of_the_page_shows_every_word_of_the_contents(keeper: Client) -> None:
    text = keeper.get("/").content.decode()
    for word in ("Gate", "Test", "Detectors", "Gas", "Book", "Sign out"):
        assert word in text


def test_an_address_that_is_not_there_says_so(keeper: Client) -> None:
    answer = keeper.get("/detectors/D-999")
    assert answer.status_code == 404
    assert "has no yes" in answer.content.decode()


def test_a_form_from_elsewhere_is_refused_and_says_that_nothing_was_written(cast: Cast) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(User.objects.create_user("ilda"))
    answer = client.post("/write/note?about=detector:D-017", {"text": "x"})
    assert answer.status_code == 403
    assert "Was it written?" in answer.content.decode()


def test_an_account_without_a_person_in_the_book_writes_nothing(cast: Cast) -> None:
    client = Client()
    client.force_login(User.objects.create_user("nobody"))
    assert client.get("/write/note?about=detector:D-017").status_code == 403
    assert client.get("/").status_code == 200


def test_the_page_for_what_broke_is_whole_without_anything_else(settings: object) -> None:
    from django.test import RequestFactory

    from pitbird.web.views.errors import broken

    answer = broken(RequestFactory().get("/"))
    assert answer.status_code == 500
    assert "Was it written?" in answer.content.decode()


@pytest.mark.django_db
def test_health_is_open_and_says_nothing_else() -> None:
    answer = Client().get("/health")
    assert (answer.status_code, answer.content) == (200, b"ok\n")


def test_the_session_and_the_token_are_out_of_reach_of_scripts() -> None:
    assert settings.SESSION_COOKIE_HTTPONLY
    assert settings.CSRF_COOKIE_HTTPONLY
