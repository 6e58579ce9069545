"""The pages in a real browser on the real server: the keeper's first morning, and axe-core on every page."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

import run
from tests.web.test_addresses import pages

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = [pytest.mark.browser, pytest.mark.slow]

AXE = Path(__file__).parent.parent / "vendor" / "axe-core" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PASSWORD = "drizzle-over-the-weir"
FILL = """
import django
django.setup()
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.auth.models import User
from django.contrib.sessions.backends.db import SessionStore
from django.core.management import call_command
call_command("migrate", verbosity=0)
from pitbird.services import clock
from pitbird.store.models import Login
from tests.web.conftest import KEEPER, SITE, fill
from tests.web.troubled import fill_troubled
FILL_THE_BOOK(clock.now())
user = User.objects.create_user("ilda")
Login.objects.create(user=user, person=KEEPER, site=SITE)
session = SessionStore()
session[SESSION_KEY] = str(user.pk)
session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
session[HASH_SESSION_KEY] = user.get_session_auth_hash()
session.create()
print(session.session_key)
"""


def environment(home: Path) -> dict[str, str]:
    """The environment of a pitbird that lives in a folder of its own."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PITBIRD_")}
    return {
        **kept, "PITBIRD_HOME": str(home), "DJANGO_SETTINGS_MODULE": "pitbird.app.settings",
        "PYTHONPATH": f"{run.ROOT}{os.pathsep}{run.ROOT / 'src'}",
    }  # fmt: skip


@contextmanager
def served(home: Path) -> Iterator[str]:
    """The real server as its own process, on a free port."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    log = (home / "server.log").open("w")
    server = subprocess.Popen(
        [sys.executable, "-m", "pitbird", "serve", "--port", str(port)],
        env=environment(home), cwd=run.ROOT, stdout=log, stderr=subprocess.STDOUT,
    )  # fmt: skip
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(120):
            try:
                with urllib.request.urlopen(f"{address}/health", timeout=2) as answer:
                    if answer.read() == b"ok\n":
                        break
            except OSError:
                assert server.poll() is None, (home / "server.log").read_text()
                time.sleep(0.25)
        else:
            pytest.fail("the server does not answer: " + (home / "server.log").read_text())
        yield address
    finally:
        server.terminate()
        server.wait(timeout=20)
        log.close()


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """The server on the small book, and the keeper's session."""
    with on_a_book(tmp_path_factory.mktemp("filled"), "fill") as found:
        yield found


@pytest.fixture(scope="module")
def troubled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """The server on the small book with trouble in it, and the keeper's session."""
    with on_a_book(tmp_path_factory.mktemp("troubled"), "fill_troubled") as found:
        yield found


@contextmanager
def on_a_book(home: Path, fill: str) -> Iterator[tuple[str, str]]:
    """A book filled in a process of its own, and the server on it."""
    made = subprocess.run(
        [sys.executable, "-c", FILL.replace("FILL_THE_BOOK", fill)], env=environment(home), cwd=run.ROOT,
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    with served(home) as address:
        yield address, made.stdout.strip()


def look(page: Page, where: str) -> list[str]:
    """What axe-core finds on the page as it is, and whether it scrolls sideways."""
    page.add_script_tag(path=str(AXE)) if not page.evaluate("'axe' in window") else None
    found: dict[str, Any] = page.evaluate(
        "(tags) => axe.run(document, {runOnly: {type: 'tag', values: tags}, resultTypes: ['violations']})",
        RULES,
    )
    said = [
        f"{where}: {fault['id']}: {node['html'][:160]}"
        for fault in found["violations"]
        for node in fault["nodes"]
    ]
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return [*said, f"{where}: {wide} px wider than the screen"] if wide > 0 else said


def at_the_desk(browser: Browser, filled: tuple[str, str], **options: Any) -> Page:
    """A page of the keeper's, signed in. Scripts may be put in past the policy, to look at the page."""
    address, session = filled
    context = browser.new_context(bypass_csp=True, **options)
    context.add_cookies([{"name": "pitbird-session", "value": session, "url": address}])
    return context.new_page()


@pytest.mark.parametrize("address", pages())
def test_a_page_is_fit_for_everybody_on_a_small_and_on_a_large_screen(
    browser: Browser, filled: tuple[str, str], address: str
) -> None:
    page = at_the_desk(browser, filled)
    faults: list[str] = []
    page.goto(filled[0] + address)
    for width in (1280, 320):
        page.set_viewport_size({"width": width, "height": 800})
        faults += look(page, f"{address} at {width}")
    page.context.close()
    assert faults == []


@pytest.mark.parametrize(
    "address",
    [
        "/", "/detectors", "/detectors/D-020", "/detectors/D-021", "/detectors/D-023", "/detectors/D-024",
        "/doubts", "/book/17/countersign", "/attempts", "/gas", "/gas/C-112", "/people/P-07", "/test",
        "/devices", "/waiting", "/people/P-07/pin",
        "/gas/C-114", "/gas/C-114/serves/D-025", "/detectors/D-025", "/write/regulator",
        "/write/cylinder?about=C-114",
        "/test/D-023", "/test/D-023?although-held=1", "/rules/emergency-services/would", "/book/16/replace",
        "/book/7/replace", "/book/10/replace", "/write/cylinder-released?about=C-112",
        "/write/calibration?about=D-023", "/write/rules-adopted?rules=us",
    ],
)  # fmt: skip
def test_a_page_that_speaks_of_trouble_is_fit_for_everybody_in_light_and_in_the_dark(
    browser: Browser, troubled: tuple[str, str], address: str
) -> None:
    faults: list[str] = []
    for scheme, width in (("light", 1280), ("light", 360), ("dark", 320)):
        page = at_the_desk(browser, troubled, color_scheme=scheme, viewport={"width": width, "height": 800})
        answer = page.goto(troubled[0] + address)
        assert answer is not None
        assert answer.status == 200
        faults += look(page, f"{address} {scheme} at {width}")
        page.context.close()
    assert faults == []


@pytest.mark.parametrize(
    "address", ["/", "/detectors/D-018", "/book", "/gas", "/write/calibration?about=D-017"]
)
def test_a_page_can_be_read_in_the_dark(browser: Browser, filled: tuple[str, str], address: str) -> None:
    page = at_the_desk(browser, filled, color_scheme="dark")
    page.goto(filled[0] + address)
    faults = look(page, address)
    page.context.close()
    assert faults == []


def test_the_doors_are_fit_for_everybody(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path) as address:
        key = (tmp_path / "first-start-key").read_text().strip()
        context = browser.new_context(bypass_csp=True)
        page = context.new_page()
        faults: list[str] = []
        for where in ("/sign-in", "/first-start", f"/first-start?key={key}"):
            page.goto(address + where)
            for width in (1280, 320):
                page.set_viewport_size({"width": width, "height": 800})
                faults += look(page, f"{where} at {width}")
        page.get_by_role("button", name="Open the book").click()
        page.locator(".errors").wait_for()
        faults += look(page, "the first page refused")
        context.close()
    assert faults == []


def test_a_refused_form_takes_the_eye_and_the_keyboard_to_its_faults(
    browser: Browser, filled: tuple[str, str]
) -> None:
    page = at_the_desk(browser, filled, viewport={"width": 320, "height": 700})
    page.goto(f"{filled[0]}/write/issued-untested?about=D-019")
    page.get_by_role("button", name="Issue it untested").click()
    assert page.locator(".errors li").count() == 4
    assert page.evaluate("document.activeElement.className") == "errors"
    faults = look(page, "refused")
    page.locator(".errors a").first.click()
    assert page.evaluate("document.activeElement.id") == "f-to"
    page.context.close()
    assert faults == []


def test_the_gate_narrows_as_one_types_without_a_new_page(browser: Browser, filled: tuple[str, str]) -> None:
    page = at_the_desk(browser, filled)
    page.goto(filled[0])
    page.evaluate("window.same = true")
    page.get_by_label("Find").fill("D-018")
    page.wait_for_function("document.querySelectorAll('#gate-list tbody tr').length === 1")
    assert page.evaluate("window.same") is True
    assert "q=D-018" in page.url
    assert page.inner_text("#gate-answer").startswith("None of one may go out.")
    page.get_by_label("Find").fill("")
    page.get_by_label("Stamp", exact=True).select_option("not-yet")
    page.wait_for_function("document.querySelector('#gate-list tbody a').textContent === 'D-019'")
    page.context.close()


def test_the_gate_works_without_scripts(browser: Browser, filled: tuple[str, str]) -> None:
    page = at_the_desk(browser, filled, java_script_enabled=False)
    page.goto(filled[0])
    page.get_by_label("Find").fill("D-018")
    page.get_by_role("button", name="Show").click()
    assert page.locator("#gate-list tbody tr").count() == 1
    page.context.close()


def test_the_keepers_first_morning(page: Page, tmp_path: Path) -> None:
    """First start, the first detector, out of service and back: by the pages alone, under the policy."""
    with served(tmp_path) as address:
        key = (tmp_path / "first-start-key").read_text().strip()
        page.goto(f"{address}/first-start?key={key}")
        for label, value in (
            ("Title of the book", "Portable gas detectors"), ("First site", "North works"),
            ("The site's code", "north-works"), ("The keeper's name", "Ilda Fontanova"),
            ("The keeper's code", "K-1"), ("Name for signing in", "ilda"),
        ):  # fmt: skip
            page.get_by_label(label, exact=True).fill(value)
        page.get_by_label("Its time zone").select_option("Europe/Lisbon")
        page.get_by_label("Password", exact=True).fill(PASSWORD)
        page.get_by_label("The password once more").fill(PASSWORD)
        page.get_by_role("button", name="Open the book").click()
        page.get_by_role("heading", name="What may go out now?").wait_for()
        assert "There is no detector here." in page.inner_text(".answer")

        page.get_by_role("button", name="Sign out").click()
        page.get_by_label("Username").fill("ilda")
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()

        page.get_by_role("link", name="Detectors").click()
        page.get_by_role("link", name="A new detector").click()
        for label, value in (
            ("Code in this book", "D-001"), ("Make", "Brindlow"), ("Model", "Gillmark H"),
            ("Serial number", "GH-1"), ("Name", "H2S"), ("Gas", "hydrogen sulfide"), ("Range up to", "100"),
            ("Reads in clean air", "0"), ("Tolerance in clean air, ±", "1"), ("Alarms", "low 5\nhigh 10"),
        ):  # fmt: skip
            page.get_by_label(label, exact=True).fill(value)
        page.get_by_label("Diffusion").check()
        page.get_by_label("Sound").check()
        page.get_by_label("Principle").select_option("electrochemical")
        page.get_by_label("Unit").select_option("ppm")
        page.get_by_role("button", name="Write the detector").click()
        page.get_by_role("heading", name="May D-001 go out?").wait_for()
        assert "NOT YET" in page.inner_text(".answer").upper()
        assert "Do not use it." in page.inner_text(".notes")

        page.get_by_role("link", name="Take it out of service").click()
        page.get_by_label("Damaged").check()
        page.get_by_label(re.compile("^Note")).fill("Case cracked.")
        page.get_by_role("button", name="Take it out of service").click()
        page.get_by_role("heading", name="May D-001 go out?").wait_for()
        assert "OUT OF SERVICE" in page.inner_text(".answer").upper()

        page.get_by_role("link", name="Return it to service").click()
        page.get_by_label(re.compile("taken out of service: damaged")).check()
        page.get_by_label("Damaged", exact=True).check()
        page.get_by_role("button", name="Return it to service").click()
        page.get_by_role("heading", name="May D-001 go out?").wait_for()
        assert "NOT YET" in page.inner_text(".answer").upper()

        page.get_by_role("link", name="Book").click()
        assert "D-001 returned to service; one reason answered. Cause: damaged." in page.inner_text(
            ".entries"
        )
        assert "“Case cracked.”" in page.inner_text(".entries")
