"""The language of a page or an answer: whole in one language, marked as what it is, chosen by the reader."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.utils import translation

from pitbird.fleet.times import Ms
from pitbird.rules import words
from pitbird.rules.decision import Finding, Outcome
from pitbird.services import clock, phones
from pitbird.services.writing import Actor
from pitbird.web import language, times
from pitbird.web.views import field
from tests.phone import FieldPhone
from tests.web.conftest import KEEPER, NOON, SITE, Cast, ago, detector, passed
from tests.workshop import catalogues

OTHERS = [tag for tag, _name in settings.LANGUAGES if tag != "en"]
#: What stands in every language alike on the gate's page of the small book: names, codes, signs.
ALIKE = re.compile(
    r"pitbird|–|·|\?|[A-Z]-\d+.*|ilda|English|Deutsch|Español|Français|North works|Ilda Fontanova|Rui Marrel"
    r"|Heron Works Quartet P|A4|US Letter|[\d./ -]+( Mar 2026)?(, (Deutsch|Español|Français))?|Mar 31, 2026"
    r"|Gas|Test|Site|: *|Detector"
)


class _Text(HTMLParser):
    """Every text of a page with the language it stands in, titles and labels too; no scripts."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[tuple[str, str]] = []
        self.texts: list[tuple[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        tongue = given.get("lang") or (self.open[-1][1] if self.open else "")
        self.texts += [(tongue, str(given[name])) for name in ("title", "aria-label") if given.get(name)]
        if tag not in ("meta", "link", "input", "br", "img"):
            self.open.append((tag, tongue))

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if data.strip() and self.open and self.open[-1][0] != "script":
            self.texts.append((self.open[-1][1], " ".join(data.split())))


def texts(html: str, tongue: str) -> list[str]:
    page = _Text()
    page.feed(html)
    return [text for spoken, text in page.texts if spoken == tongue]


def asked(client: Client, address: str, tag: str, **more: Any) -> Any:
    return client.get(address, headers={"Accept-Language": tag}, **more)


# --- Pages


@pytest.mark.parametrize("tag", OTHERS)
def test_the_gate_is_whole_in_each_language(cast: Cast, keeper: Client, tag: str) -> None:
    cast.write(detector("D-020", "Q-88299"))
    english = asked(keeper, "/", "en").content.decode()
    answer = asked(keeper, "/", f"{tag}-XX,{tag};q=0.9,en;q=0.5")
    html = answer.content.decode()
    assert (answer["Content-Language"], f'<html lang="{tag}"' in html) == (tag, True)
    assert {"Accept-Language", "Cookie"} <= {each.strip() for each in answer["Vary"].split(",")}
    left = set(texts(english, "en")) & set(texts(html, tag))
    assert {text for text in left if not ALIKE.fullmatch(text)} == set()
    with translation.override(tag):
        assert translation.gettext("What may go out now?") in html
        assert translation.gettext("Out of service") in html


def test_what_the_gate_is_made_of_is_in_the_catalogues(cast: Cast, keeper: Client) -> None:
    templates = {each.name for each in keeper.get("/?q=x").templates + keeper.get("/").templates}
    assert {name for name in templates if name and name.startswith("pitbird/")} <= {
        f"pitbird/{name}.html" for name in catalogues.TEMPLATES
    }


@pytest.mark.parametrize("address", ["/detectors", "/gas", "/book", "/people", "/test"])
def test_a_page_that_is_not_translated_whole_is_english_throughout(keeper: Client, address: str) -> None:
    english, german = (asked(keeper, address, tag) for tag in ("en", "de"))
    html = german.content.decode()
    assert (german["Content-Language"], '<html lang="en"' in html) == ("en", True)
    assert texts(html, "en")[3:] == texts(english.content.decode(), "en")[3:]
    assert "Diese Seite gibt es bisher nur auf Englisch." in texts(html, "de")
    assert "Diese Seite" not in english.content.decode()


def test_the_chosen_language_is_kept_and_comes_before_the_browsers(keeper: Client) -> None:
    answer = keeper.post("/language", {"language": "fr", "next": "/gas"})
    assert (answer.status_code, answer["Location"]) == (302, "/gas")
    cookie = answer.cookies["pitbird-language"]
    assert (cookie.value, cookie["samesite"], cookie["max-age"]) == ("fr", "Lax", 365 * 24 * 3600)
    assert asked(keeper, "/", "de")["Content-Language"] == "fr"
    assert "pitbird-language" not in keeper.post("/language", {"language": "tlh", "next": "/"}).cookies


@pytest.mark.parametrize("back", ["https://elsewhere.example/", "//elsewhere.example/", ""])
def test_choosing_a_language_leads_nowhere_else(keeper: Client, back: str) -> None:
    assert keeper.post("/language", {"language": "de", "next": back})["Location"] == "/"


def test_a_language_that_is_not_there_is_answered_in_english(keeper: Client) -> None:
    assert asked(keeper, "/", "tlh, nl;q=0.8")["Content-Language"] == "en"


# --- What a phone is sent


@pytest.fixture
def phone(cast: Cast) -> tuple[FieldPhone, Client]:
    made, client = FieldPhone(alg="ES256"), Client()
    boss = Actor(KEEPER, SITE, "Europe/Lisbon")
    secret, _until = phones.pair(made.device, boss, now=clock.now())
    body = {"pairing": secret}
    pairing = json.dumps({"body": body, "signature": made.sign(body)})
    assert client.post("/api/field/pair", pairing, content_type="application/json").status_code == 201
    return made, client


def test_the_snapshot_comes_in_the_language_that_is_asked_for(phone: tuple[FieldPhone, Client]) -> None:
    _made, client = phone
    by_header = asked(client, "/api/field/snapshot", "de")
    by_address = asked(client, "/api/field/snapshot?lang=de", "fr")
    english = client.get("/api/field/snapshot")
    said = {each["code"]: each for each in by_header.json()["detectors"]}
    assert said["D-018"]["reason"].startswith("Außer Betrieb seit Mo, 2. März, 10:40 WET: ")
    assert said["D-019"]["to_do"] == "Anzeigetest durchführen."
    assert by_header.json()["language"] == by_address.json()["language"] == "de"
    assert by_header["ETag"] == by_address["ETag"] != english["ETag"]
    assert {"Accept-Language", "Accept-Encoding", "Cookie"} <= set(by_header["Vary"].split(", "))
    again = {"If-None-Match": by_header["ETag"]}
    assert client.get("/api/field/snapshot?lang=de", headers=again).status_code == 304
    assert client.get("/api/field/snapshot?lang=en", headers=again).status_code == 200
    assert client.get("/api/field/snapshot?lang=tlh").json()["language"] == "en"


def test_the_answer_to_entries_says_its_language(phone: tuple[FieldPhone, Client]) -> None:
    made, client = phone
    body = {
        **passed("D-019", ago(5), outcome="failed", missed="H2S"), "id": clock.new_id(),
        "zone": "Europe/Lisbon", "by": "person:P-07", "where": SITE,
    }  # fmt: skip
    sent = json.dumps({"entries": [made.item(body)]})
    answer = client.post("/api/field/entries?lang=es", sent, content_type="application/json").json()
    assert answer["language"] == "es"
    assert answer["entries"][0]["why"] == ["not-known-here"]
    [told] = answer["detectors"]
    assert told["reason"].startswith("Fuera de servicio desde el lun 2 marzo, 12:00 WET")


def test_the_api_of_the_gate_speaks_too_and_its_codes_do_not(keeper: Client) -> None:
    english, french = (asked(keeper, "/api/gate", tag).json()["detectors"] for tag in ("en", "fr"))
    for one, other in zip(english, french, strict=True):
        assert [each["code"] for each in one["findings"]] == [each["code"] for each in other["findings"]]
        assert [each["facts"] for each in one["findings"]] == [each["facts"] for each in other["findings"]]
        assert all(
            a["sentence"] != b["sentence"] for a, b in zip(one["findings"], other["findings"], strict=True)
        )


# --- The field page's words


@pytest.mark.parametrize("tag", OTHERS)
def test_every_language_has_every_word_of_the_field_page(tag: str) -> None:
    english, other = field.words("en"), field.words(tag)
    assert {name: sorted(group) for name, group in english.items()} == {
        name: sorted(group) for name, group in other.items()
    }
    assert other == json.loads(Client().get(f"/field/words/{tag}.json").content)
    assert f"/field/words/{tag}.json" in field.files()


def test_the_shell_is_the_same_whatever_the_browser_asks_for() -> None:
    """Its hash stands in the worker: a shell that changed with the language could not be kept."""
    shells = {asked(Client(), "/field/", tag).content for tag in ("en", "de", "fr")}
    assert len(shells) == 1
    [shell] = shells
    for tag in OTHERS:
        with translation.override(tag):
            assert translation.gettext("This page needs JavaScript.") in texts(shell.decode(), tag)
    assert Client().get("/field/words/en.json").status_code == 404
    assert Client().get("/field/words/tlh.json").status_code == 404


# --- Times and numbers


SPOKEN_TIMES = {
    "en": ("Mon 2 Mar 2026, 12:00 WET", "31 Mar 2026", "1.5"),
    "de": ("Mo, 2. März 2026, 12:00 WET", "31. März 2026", "1,5"),
    "es": ("lun 2 marzo 2026, 12:00 WET", "31 marzo 2026", "1,5"),
    "fr": ("lun 2 mars 2026, 12:00 WET", "31 mars 2026", "1,5"),
}


@pytest.mark.parametrize("tag", SPOKEN_TIMES)
def test_times_days_and_decimals_are_written_as_the_language_does(tag: str) -> None:
    with translation.override(tag):
        shown = (times.shown(NOON, "Europe/Lisbon"), times.day_shown("2026-03-31"), language.number("1.5"))
    assert shown == SPOKEN_TIMES[tag]


def _said(tag: str, code: str, **facts: str) -> str:
    finding = Finding("rule", "predicate", Outcome.NOT_MET, code, "stops", "test", tuple(facts.items()))
    with translation.override(tag):
        return words.sentence(
            finding, zone="Europe/Lisbon", gettext=translation.gettext, clock=times.shown,
            day=times.day_shown, number=language.number,
        )  # fmt: skip


def test_numbers_days_gases_and_words_in_findings_follow_the_language() -> None:
    pressure = {"cylinder": "cylinder:C-1.5", "gauge_bar": "1.5", "minimum_bar": "2"}
    assert _said("de", "pressure-too-low", **pressure) == (
        "Flasche C-1.5 zeigte 1,5 bar; ihr Mindestdruck ist 2 bar."
    )
    assert _said("fr", "cylinder-out-of-date", cylinder="cylinder:C-1", expired_on="2026-03-31") == (
        "La bouteille C-1 était périmée lors de l’emploi (dernier jour 31 mars 2026)."
    )
    assert "(pentano)" in _said("es", "methane-by-another-gas", channel="CH4", gas="pentane")
    limit = {
        "channel": "CO",
        "at": "35.5",
        "unit": "ppm",
        "limit": "8 h 35 ppm, ceiling 200.5 ppm",
        "known": "X",
    }
    assert "35,5 ppm, über dem Grenzwert (8 h 35 ppm, Höchstwert 200,5 ppm; X)" in _said(
        "de", "alarm-above-limit", **limit
    )
    thinned = {"channel": "CO", "cylinder": "cylinder:C-1", "given": "0.3", "drawn": "0.5", "share": "60"}
    assert "Prüfgas (Methan: 1,32 von 2,2 Vol.-%), der Rest" in _said(
        "de", "gas-thinned", **thinned, reaches=" (methane: 1.32 of 2.2 % vol)"
    )
    assert _said("de", "alarm-not-judged", channel="CO", why="the book does not say its t90").endswith(
        "nicht ausrechnen: das Buch nennt seine t90 nicht."
    )


def test_an_instant_of_another_year_is_shown_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: NOON)
    with translation.override("de"):
        assert times.short(Ms(NOON - 300 * 86_400_000), "UTC") == "Di, 6. Mai 2025, 12:00 UTC"
        assert times.short(NOON, "UTC") == "Mo, 2. März, 12:00 UTC"
