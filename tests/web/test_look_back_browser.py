"""The look-back pages with uses on them in a real browser: axe-core, widths, paper, and a decision."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

import run
from tests.web.test_pages_browser import FILL, at_the_desk, environment, look, served

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = [pytest.mark.browser, pytest.mark.slow]

USED = """
from pitbird.fleet.times import text_of
from pitbird.services.writing import Actor, write
from pitbird.store import book
from tests.web.conftest import TESTER, ago, passed
now = clock.now()
actor = Actor(KEEPER, SITE, "Europe/Lisbon")
D = "detector:D-017"
for minutes, draft in (
    (80, {"kind": "handed-out", "detector": D, "to": TESTER, "from_store": True, "permit": "PTW-1184"}),
    (60, {"kind": "handed-back", "detector": D}),
    (50, {"kind": "handed-out", "detector": D, "to": KEEPER, "from_store": True}),
    (45, {"kind": "happened", "detector": D, "what": "drop"}),
    (30, {"kind": "handed-back", "detector": D}),
):
    write({**draft, "at": text_of(ago(minutes, now))}, actor, now=ago(minutes, now))
failed = write(passed("D-017", ago(20, now), outcome="failed", missed="H2S"), actor, now=ago(19, now))
print(failed.index)
"""


@pytest.fixture(scope="module")
def used(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str, str]]:
    """The server on a book with a failure and uses before it; the keeper's session; the place of the fail."""
    home = tmp_path_factory.mktemp("used")
    made = subprocess.run(
        [sys.executable, "-c", FILL.replace("FILL_THE_BOOK", "fill") + USED], env=environment(home),
        cwd=run.ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    session, index = made.stdout.split()
    with served(home) as address:
        yield address, session, index


def test_the_pages_are_fit_for_everybody_on_every_screen_and_on_paper(
    browser: Browser, used: tuple[str, str, str]
) -> None:
    address, session, index = used
    page = at_the_desk(browser, (address, session))
    faults: list[str] = []
    for where in (
        "/look-back", f"/look-back/{index}", f"/look-back/{index}?rate=0.2", "/look-back/gas/C-112",
        "/look-back/gas/C-112?since=yesterday", "/look-back/person/P-07", "/look-back/0",
    ):  # fmt: skip
        page.goto(address + where)
        for width in (1280, 360):
            page.set_viewport_size({"width": width, "height": 800})
            faults += look(page, f"{where} at {width}")
    page.goto(f"{address}/look-back/{index}?rate=0.2")
    page.emulate_media(media="print")
    assert page.get_by_text("PTW-1184").is_visible()
    assert page.get_by_text("A small chance never clears a use.").is_visible()
    assert page.get_by_text("take as failed: a drop").is_visible()
    assert not page.get_by_role("button", name="Record the decision").is_visible()
    page.context.close()
    assert faults == []


def test_a_decision_by_the_page_alone_empties_the_list(browser: Browser, used: tuple[str, str, str]) -> None:
    address, session, index = used
    page = at_the_desk(browser, (address, session), java_script_enabled=False)
    page.goto(f"{address}/look-back")
    page.get_by_role("link", name=f"Look back from D-017, entry {index}").click()
    page.get_by_label("Work affected", exact=True).check()
    page.get_by_label(re.compile("^What was done")).fill("Both wearers asked; entry to the pit stopped.")
    page.get_by_role("button", name="Record the decision").click()
    page.get_by_text("Both wearers asked; entry to the pit stopped.").first.wait_for()
    page.goto(f"{address}/look-back")
    assert page.get_by_role("link", name=f"Look back from D-017, entry {index}").count() == 0
    assert "D-017: work affected" in page.inner_text("main")
    page.context.close()
