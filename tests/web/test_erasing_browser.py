"""Erasing, retention and who saw what in a real browser: fit for everybody, and a person erased by hand."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

import run
from tests.web.test_pages_browser import FILL, at_the_desk, environment, look, served

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = [pytest.mark.browser, pytest.mark.slow]

MORE = (
    FILL.replace("FILL_THE_BOOK", "fill")
    + """
from pitbird.services import seeing
from pitbird.services.writing import Actor, write
from tests.web.conftest import TESTER
keeper = Actor(KEEPER, SITE, "Europe/Lisbon")
for draft in (
    {"kind": "handed-out", "detector": "detector:D-019", "to": TESTER, "from_store": True,
     "note": "larger clip"},
    {"kind": "note", "subject": "detector:D-018", "text": "Rui Marrel heard a rattle at digester two"},
    {"kind": "note", "subject": "detector:D-018", "text": "ask Marrel again"},
    {"kind": "regulator", "regulator": "regulator:R-9", "flow": "fixed", "flow_l_min": "0.5",
     "serial": "Rui Marrel's"},
    {"kind": "person", "person": "person:P-08", "name": "Tove Ansgard", "left": "2020-01-31"},
    {"kind": "person", "person": "person:P-09", "name": "Ilo Brenmark", "left": "2019-01-31"},
):
    write(draft, keeper)
other = User.objects.create_user("rui")
Login.objects.create(user=other, person=TESTER, site=SITE)
for what, about in (("person", TESTER), ("export", ""), ("name-search", TESTER)):
    seeing.record(what, account=user.pk, person=KEEPER, about=about)
seeing.record("export", account=0)
"""
)
OWN = """
[[period]]
id = "names"
about = "Names after people have left, as agreed with the works council"
kinds = ["person", "training"]
from = "left"
years = 0
applies = true
source = "works agreement of the undertaking"
edition = "2026"
known = "seen"
"""


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """The server on the small book with texts that bear names, and the keeper's session."""
    home = tmp_path_factory.mktemp("erasing")
    made = subprocess.run(
        [sys.executable, "-c", MORE], env=environment(home), cwd=run.ROOT, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    (home / "retention.toml").write_text(OWN)
    with served(home) as address:
        yield address, made.stdout.strip()


@pytest.fixture
def home_of(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The newest folder of a book here."""
    return max(tmp_path_factory.getbasetemp().glob("erasing*"))


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    "address",
    ["/people/P-07/erase", "/people/K-1/erase", "/book/4/erase", "/book/0/erase", "/retention", "/seen"],
)
def test_a_page_is_fit_for_everybody_on_a_small_and_on_a_large_screen(
    browser: Browser, filled: tuple[str, str], address: str, scheme: str
) -> None:
    page = at_the_desk(browser, filled, color_scheme=scheme)
    faults: list[str] = []
    page.goto(filled[0] + address)
    for width in (1280, 320):
        page.set_viewport_size({"width": width, "height": 800})
        faults += look(page, f"{address} at {width}, {scheme}")
    page.context.close()
    assert faults == []


def test_a_refusal_takes_the_keyboard_to_the_faults(browser: Browser, filled: tuple[str, str]) -> None:
    page = at_the_desk(browser, filled, viewport={"width": 320, "height": 700})
    for address in ("/people/P-07/erase", "/book/4/erase", "/retention"):
        page.goto(filled[0] + address)
        page.locator(".button--grave").click()
        assert page.locator(".errors li").count() >= 1
        assert page.evaluate("document.activeElement.className") == "errors"
        assert look(page, f"{address} refused") == []
        page.locator(".errors a").last.click()
        assert page.evaluate("document.activeElement.id") == "f-confirm"
    page.context.close()


def test_a_file_of_ones_own_with_faults_is_told_on_the_page(
    browser: Browser, filled: tuple[str, str], home_of: Path
) -> None:
    page = at_the_desk(browser, filled)
    file = home_of / "retention.toml"
    file.write_text(OWN.replace("years = 0", "years = -1"))
    try:
        page.goto(f"{filled[0]}/retention")
        assert "period[1] (names).years = -1" in page.inner_text(".errors")
        assert look(page, "faults") == []
    finally:
        file.write_text(OWN)
    page.context.close()


def test_a_person_is_erased_by_hand_and_no_page_or_file_names_them(
    browser: Browser, filled: tuple[str, str], home_of: Path
) -> None:
    # P-08 stands in a place of their own: the other tests look at P-07.
    page = at_the_desk(browser, filled)
    page.goto(f"{filled[0]}/people/P-08")
    assert page.get_by_role("heading", name="What may Tove Ansgard do?").count() == 1
    page.get_by_role("link", name="Erase", exact=True).click()
    page.get_by_label("The person asked for it").check()
    page.get_by_label("Type P-08 to erase it for good").fill("P-08")
    page.get_by_role("button", name="Erase for good").click()
    page.get_by_role("heading", name="What may P-08 (name withheld) do?").wait_for()
    assert "erased for good" in page.inner_text(".notes")
    assert "could not be rewritten" not in page.inner_text(".notes")
    for address in ("/people", "/book", "/retention", "/"):
        page.goto(filled[0] + address)
        assert "Ansgard" not in page.inner_text("body")
    page.context.close()
    assert [path.name for path in home_of.rglob("*") if b"Ansgard" in content(path)] == []


def content(path: Path) -> bytes:
    if path.is_dir():
        return b""
    try:
        return path.read_bytes()
    except FileNotFoundError:  # the server just closed its last connection, and the write-ahead log with it
        return b""
