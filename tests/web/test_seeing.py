"""Who saw what, written down as pages go out: off by default, codes only, never in the export."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from pitbird.app.config import BadConfiguration, read_config
from pitbird.services import seeing
from pitbird.store.models import Seen
from tests.web.conftest import KEEPER, TESTER, Cast


@pytest.fixture
def on(settings: Any) -> None:
    """Switched on, as PITBIRD_SEEN=1 does."""
    settings.SEEN = True


def lines() -> list[tuple[str, str, str]]:
    return [(each.what, each.person, each.about) for each in seeing.sights()]


def test_it_is_off_unless_the_environment_says_1() -> None:
    assert read_config({}).seen is False
    assert read_config({"PITBIRD_SEEN": "1"}).seen is True
    with pytest.raises(BadConfiguration, match="PITBIRD_SEEN"):
        read_config({"PITBIRD_SEEN": "yes"})


def test_while_it_is_off_nothing_is_written_down(keeper: Client) -> None:
    keeper.get("/people/P-07")
    keeper.get("/book/export")
    assert lines() == []
    assert "PITBIRD_SEEN=1" in keeper.get("/seen").content.decode()


@pytest.mark.parametrize(
    ("address", "line"),
    [
        ("/people", ("people", KEEPER, "")),
        ("/people/P-07", ("person", KEEPER, TESTER)),
        ("/look-back/person/P-07", ("person", KEEPER, TESTER)),
        ("/people/P-07/account", ("account", KEEPER, TESTER)),
        ("/people/P-07/erase", ("erasing", KEEPER, TESTER)),
        ("/write/person?about=P-07", ("person", KEEPER, TESTER)),
        ("/book/export", ("export", KEEPER, "")),
        ("/attempts", ("attempts", KEEPER, "")),
        ("/?q=marrel", ("name-search", KEEPER, "")),
        ("/?wearer=P-07", ("name-search", KEEPER, TESTER)),
        ("/detectors?q=marrel", ("name-search", KEEPER, "")),
        ("/paper/labels.pdf?of=people&grid=3x8+of+70x37", ("people", KEEPER, "")),
        ("/api/gate", ("api", KEEPER, "")),
        ("/api/detectors/D-017?wearer=P-07", ("api", KEEPER, TESTER)),
    ],
)
def test_a_look_is_written_down(on: None, keeper: Client, address: str, line: tuple[str, str, str]) -> None:
    assert keeper.get(address).status_code == 200
    assert lines() == [line]
    assert Seen.objects.get().account > 0


@pytest.mark.parametrize("address", ["/", "/?verdict=not-yet", "/detectors/D-017", "/gas", "/people/P-99"])
def test_what_shows_nobody_in_particular_leaves_no_line(on: None, keeper: Client, address: str) -> None:
    keeper.get(address)
    assert lines() == []


def test_what_was_typed_into_a_search_is_not_kept(on: None, keeper: Client) -> None:
    keeper.get("/?q=marrel")
    row = Seen.objects.values().get()
    assert "marrel" not in str(row).casefold()


def test_who_is_turned_away_leaves_no_line(on: None, tester: Client) -> None:
    tester.get("/people/P-07/erase")
    Client().get("/people/P-07")
    assert lines() == []


def test_no_line_no_page(on: None, keeper: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise OSError("the disk is full")

    monkeypatch.setattr(seeing, "record", broken)
    with pytest.raises(OSError, match="full"):
        keeper.get("/people/P-07")


def test_the_keeper_reads_the_list_and_narrows_it(
    on: None, cast: Cast, keeper: Client, tester: Client
) -> None:
    tester.get("/people/K-1")
    keeper.get("/people/P-07")
    page = keeper.get("/seen").content.decode()
    assert page.count("the page of a person") == 2
    assert "Rui Marrel" in page
    assert keeper.get("/seen?person=K-1").content.decode().count("the page of a person") == 1
    assert keeper.get("/seen?by=P-07").content.decode().count("the page of a person") == 1
    assert "Nothing stands here." in keeper.get("/seen?by=P-99").content.decode()
    assert tester.get("/seen").status_code == 403


def test_the_list_is_paged(on: None, keeper: Client) -> None:
    from pitbird.fleet.times import Ms

    for number in range(102):
        seeing.record("export", account=1, person=KEEPER, now=Ms(1_000_000 + number))
    page = keeper.get("/seen").content.decode()
    assert page.count("the export of the book") == 100
    assert "before=1000002" in page
    assert keeper.get("/seen?before=1000002").content.decode().count("the export of the book") == 2


def test_the_list_is_never_in_the_export_and_an_erased_name_not_in_the_list(
    on: None, keeper: Client, tester: Client
) -> None:
    def export() -> bytes:
        return b"".join(keeper.get("/book/export").streaming_content)  # type: ignore[attr-defined]

    before = export()
    tester.get("/people/K-1")
    assert export() == before
    keeper.post("/people/P-07/erase", {"because": "request", "confirm": "P-07", "close": "on"})
    page = keeper.get("/seen").content.decode()
    assert "P-07 (name withheld)" in page
    assert "closed" in page
    assert "Marrel" not in page
