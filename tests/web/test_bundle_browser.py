"""An audit bundle in a real browser on the real server: asked for, made, fetched, and checked."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.web.test_pages_browser import at_the_desk, look, on_a_book

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture
def own(tmp_path: Path) -> Iterator[tuple[str, str]]:
    """The server on a small book of its own, and the keeper's session."""
    with on_a_book(tmp_path, "fill") as found:
        yield found


def test_a_bundle_is_asked_for_made_fetched_and_checked_by_the_verifier_inside_it(
    browser: Browser, own: tuple[str, str], tmp_path: Path
) -> None:
    page = at_the_desk(browser, own)
    page.goto(f"{own[0]}/book")
    page.get_by_role("link", name="An audit bundle of a part").click()
    page.get_by_role("button", name="Make the bundle").click()
    assert page.get_by_role("alert").inner_text().endswith("Name at least one detector, site or person.")
    page.get_by_label("North works").check()
    page.get_by_role("button", name="Make the bundle").click()
    fetch = page.get_by_role("link", name="Fetch the bundle")
    fetch.wait_for()
    faults = []
    for width in (1280, 320):
        page.set_viewport_size({"width": width, "height": 800})
        faults += look(page, f"made at {width}")
    assert faults == []
    fingerprint = page.locator("dd.serial").inner_text()
    with page.expect_download() as download:
        fetch.click()
    path = tmp_path / download.value.suggested_filename
    download.value.save_as(path)
    page.context.close()

    with zipfile.ZipFile(path) as archive:
        archive.extract("verify.py", tmp_path)
    done = subprocess.run(
        [sys.executable, "-I", str(tmp_path / "verify.py"), str(path), "--key", fingerprint],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert path.name == "audit-bundle.zip"
