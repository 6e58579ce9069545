"""The page of checkpoints in a real browser: fit for everybody, signatures given and taken back by hand."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

import run
from tests.services.test_witnessing import KEYS, OTHER, WITNESS, other
from tests.web.test_pages_browser import FILL, at_the_desk, environment, look, served

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = [pytest.mark.browser, pytest.mark.slow]

MORE = (
    FILL.replace("FILL_THE_BOOK", "fill")
    + """
from pathlib import Path
from django.conf import settings
from pitbird.services import checkpoints, key_rotation
from pitbird.services.writing import Actor
checkpoints.make_checkpoint(Path(settings.CONFIG.home))
key_rotation.rotate(Path(settings.CONFIG.home), Actor(KEEPER, SITE, "Europe/Lisbon"))
"""
)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """The server on the small book with a checkpoint and a changed key, and the keeper's session."""
    home = tmp_path_factory.mktemp("kept")
    made = subprocess.run(
        [sys.executable, "-c", MORE], env=environment(home), cwd=run.ROOT, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    with served(home) as address:
        yield address, made.stdout.strip()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_is_fit_for_everybody_on_a_small_and_on_a_large_screen(
    browser: Browser, filled: tuple[str, str], scheme: str
) -> None:
    page = at_the_desk(browser, filled, color_scheme=scheme)
    faults: list[str] = []
    page.goto(f"{filled[0]}/checkpoints")
    for width in (1280, 320):
        page.set_viewport_size({"width": width, "height": 800})
        faults += look(page, f"checkpoints at {width}, {scheme}")
    page.context.close()
    assert faults == []


def test_a_checkpoint_is_made_taken_along_and_comes_back_signed(
    browser: Browser, filled: tuple[str, str], tmp_path: Path
) -> None:
    from pitbird.record.note import cosign_note, read_note

    page = at_the_desk(browser, filled)
    page.goto(f"{filled[0]}/checkpoints")
    page.get_by_role("button", name="Make one now").click()
    with page.expect_download() as taken:
        page.get_by_role("link", name="The newest checkpoint").click()
    note = read_note(Path(taken.value.path()).read_bytes())
    signed = note.with_signature(cosign_note(note.text, WITNESS.name, KEYS[0], 1_772_000_000))
    (tmp_path / "signed.note").write_bytes(signed.to_bytes())

    page.get_by_role("button", name="Keep the signature").click()
    assert page.evaluate("document.activeElement.className") == "errors"
    assert look(page, "refused") == []
    page.get_by_label("The file that came back").set_input_files(tmp_path / "signed.note")
    page.get_by_label("The witness's key").fill(WITNESS.text())
    page.get_by_role("button", name="Keep the signature").click()

    page.get_by_text("The signature of depot.example is kept.").wait_for()
    assert "depot.example signed the checkpoint" in page.locator(".answer").inner_text()
    page.context.close()


def test_another_book_is_signed_for(browser: Browser, filled: tuple[str, str], tmp_path: Path) -> None:
    (tmp_path / "theirs.note").write_bytes(other(3))
    page = at_the_desk(browser, filled)
    page.goto(f"{filled[0]}/checkpoints")
    page.get_by_label("Their checkpoint").set_input_files(tmp_path / "theirs.note")
    page.get_by_label("Their book's key").fill(OTHER.text())
    page.get_by_role("button", name="Sign it").click()
    with page.expect_download() as taken:
        page.get_by_role("link", name="signed checkpoint").click()

    assert Path(taken.value.path()).read_bytes().startswith(other(3))
    page.context.close()
