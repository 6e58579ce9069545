"""A phone that the tests of the field page hold, and the small site that it belongs to.

A phone that is paired and let in goes from test to test of a module while they pass: pairing and a PIN cost
some seconds each time. After a test that failed the next one gets a new phone; a test that would spoil the
phone for others takes one of its own (``new_phone``).
"""

import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

import run
from pitbird.record.leaf import read_leaf
from tests.web.conftest import PASSED
from tests.web.test_bump_browser import ANSWER, CHANNELS
from tests.web.test_pages_browser import environment

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

PIN = "4071"
#: Nothing that a test wrote stays on the phone; who it is let in for.
FORGET = """async () => {
    const keep = await import('/static/pitbird/field/keep.js');
    await keep.dropEntries((await keep.entries()).map((entry) => entry.n));
    await keep.drop('test');
    await keep.drop('half');
    return (await keep.get('who'))?.person;
}"""
BEGIN = f"""
import django; django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from pitbird.services import pins
from tests.web.bump_book import begin
keeper = begin(spare=40)
pins.set_pin(keeper.person, "{PIN}", by=keeper.person)
"""
LINKS = """
import sys
import django; django.setup()
from pitbird.services import phones
from pitbird.services.writing import Actor
keeper = Actor("person:K-1", "site:north-works", "Europe/Lisbon")
for number in range(60):
    print(phones.pair(f"device:PH-{number:02}", keeper, label="Digester store")[0])
"""


def python(home: Path, text: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", text],
        env=environment(home), cwd=run.ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


@dataclass(frozen=True)
class Site:
    """A real server on a small book, links for phones, and detectors that no test has used yet."""

    address: str
    home: Path
    links: Iterator[str]
    spare: Iterator[int]
    failed: list[int] = field(default_factory=lambda: [0])

    def written(self, detector: str) -> list[Any]:
        """The leaves of all bump tests of a detector, from the book itself."""
        return self.entries(detector, "bump-test")

    def entries(self, detector: str, *kinds: str) -> list[Any]:
        """The leaves of a detector's entries of some kinds, from the book itself, in its order."""
        with closing(sqlite3.connect(f"file:{self.home / 'book.sqlite3'}?mode=ro", uri=True)) as database:
            rows = database.execute(
                'SELECT e.leaf FROM store_mention m JOIN store_entry e ON e."index" = m."index" '
                "WHERE m.subject = ? ORDER BY m.nth",
                [f"detector:{detector}"],
            ).fetchall()
        leaves = [read_leaf(leaf.encode()) for (leaf,) in rows]
        return [leaf for leaf in leaves if leaf.body["kind"] in kinds]

    def answer_for_the_gas(self) -> None:
        """Release the cylinders on which a test failed, where one did since; else the next tests would be
        asked about the gas first."""
        with closing(sqlite3.connect(f"file:{self.home / 'book.sqlite3'}?mode=ro", uri=True)) as database:
            [(count,)] = database.execute(
                "SELECT count(*) FROM store_entry WHERE kind = 'bump-test' AND leaf LIKE ?", ['%"failed"%']
            ).fetchall()
        if count > self.failed[-1]:
            python(self.home, ANSWER)
            self.failed.append(count)


class Phone:
    """A phone in a gloved hand: its taps are counted."""

    def __init__(self, context: "BrowserContext", site: Site) -> None:
        self.context, self.site, self.taps = context, site, 0
        self.faults: list[str] = []
        self.page = self.opened()

    def opened(self) -> "Page":
        page = self.context.new_page()
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        page.on(
            "console",
            lambda said: self.faults.append(said.text) if "Content Security Policy" in said.text else None,
        )
        return page

    def new(self, sort: str = "F") -> str:
        return f"{sort}-{next(self.site.spare):03}"

    def button(self, name: str, *, exact: bool = True) -> None:
        self.page.get_by_role("button", name=name, exact=exact).first.tap()
        self.taps += 1

    def heading(self, text: str) -> None:
        self.page.get_by_role("heading", level=1, name=text, exact=False).wait_for()

    def pair(self) -> None:
        self.page.goto(f"{self.site.address}/field/pair#{next(self.site.links)}")
        self.button("Register this phone")
        self.heading("Registered as")

    def let_in(self) -> None:
        self.button("Go on")
        self.button("Ilda Fontanova (K-1)")
        self.page.get_by_label("PIN of").fill(PIN)
        self.button("Go on")
        self.heading("Which detector?")

    def ready(self) -> None:
        self.pair()
        self.let_in()
        self.page.evaluate("navigator.serviceWorker.ready.then(() => null)")

    def again(self) -> bool:
        """Start the page of a phone that is paired and let in, with what the server says now."""
        self.page, self.taps = self.opened(), 0
        with self.page.expect_response("**/api/field/snapshot*"):
            self.page.goto(f"{self.site.address}/field/")
        self.heading("Which detector?")
        return True

    def cleared(self) -> bool:
        """Forget every entry and the test under way, close the page; whether the keeper is still let in."""
        who = self.page.evaluate(FORGET)
        for page in self.context.pages:
            page.close()
        self.context.set_offline(False)
        return bool(who == "K-1")

    def close(self) -> None:
        """Close the page once what was tapped last is kept."""
        self.page.evaluate("async () => (await import('/static/pitbird/field/keep.js')).get('test')")
        self.page.close()

    def look_up(self, code: str, field: str = "Code or serial number") -> None:
        self.page.get_by_label(field).fill(code)
        self.page.get_by_label(field).press("Enter")

    def to_gas(self, code: str, cylinder: str = "C-112") -> None:
        self.look_up(code)
        self.button(f"Test it with {cylinder}")
        self.button("All of these are well")

    def gas(self, *channels: str) -> None:
        self.button("Gas on")
        for channel in channels:
            self.button(f"{channel} came")

    def plain(self, code: str, field: str = "Code or serial number") -> None:
        self.look_up(code, field)
        self.taps = 0
        self.button("Test it with C-112")
        self.button("All of these are well")
        self.gas(*CHANNELS)
        self.button("Sound, light and vibration came")
        self.button("Gas off")
        self.button("Both are so")
        assert "PASSED" in self.page.locator("#outcome").inner_text().upper()
        self.button("Write it")
        self.heading(f"{code}: written on this phone")

    def became(self, text: str) -> None:
        self.page.locator("#became", has_text=text).wait_for()


class Shelf:
    """Where the phone lies that is paired and let in, from one test of a module to the next."""

    def __init__(self, browser: "Browser", site: Site) -> None:
        self.browser, self.site = browser, site
        self.kept: Phone | None = None

    def new(self) -> Phone:
        """A phone that nobody registered."""
        context = self.browser.new_context(
            viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True, device_scale_factor=2
        )
        context.set_default_timeout(20_000)
        return Phone(context, self.site)

    def take(self) -> Phone:
        """The phone that lies here, or a new one that is paired and let in."""
        phone, self.kept = self.kept, None
        if phone is not None and _went_well(phone, phone.again):
            return phone
        made = self.new()
        try:
            made.ready()
        except BaseException:
            made.context.close()
            raise
        return made

    def put_back(self, phone: Phone, *, passed: bool) -> None:
        """Lay a phone here for the next test, if it is as it was; else the next one gets a new one."""
        if passed and _went_well(phone, phone.cleared):
            self.kept = phone
        elif not passed:
            phone.context.close()


def _went_well(phone: Phone, act: Callable[[], bool]) -> bool:
    """Whether a phone could be made ready for the next test; it is thrown away if not."""
    from playwright.sync_api import Error

    try:
        done = act()
    except Error:
        done = False
    if not done:
        phone.context.close()
    return done


@pytest.fixture(scope="module")
def shelf(browser: "Browser", site: Site) -> Iterator[Shelf]:
    """The shelf of this module's site."""
    made = Shelf(browser, site)
    yield made
    if made.kept is not None:
        made.kept.context.close()


@pytest.fixture
def phone(shelf: Shelf, request: pytest.FixtureRequest) -> Iterator[Phone]:
    """A phone that is paired and let in for the keeper; it may have been in other tests' hands."""
    made = shelf.take()
    yield made
    shelf.put_back(made, passed=request.node.stash.get(PASSED, False) and made.faults == [])
    shelf.site.answer_for_the_gas()
    assert made.faults == []


@pytest.fixture
def new_phone(shelf: Shelf) -> Iterator[Phone]:
    """A phone that nobody registered, thrown away afterwards."""
    made = shelf.new()
    yield made
    made.context.close()
    shelf.site.answer_for_the_gas()
    assert made.faults == []
