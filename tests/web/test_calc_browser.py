"""The calculations in a real browser: asked, answered, drawn and refused, fit for everybody."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from pitbird.calc import registry
from tests.web.test_pages_browser import at_the_desk, filled, look  # noqa: F401 (the fixture)

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.mark.parametrize("name", registry.LISTED)
def test_an_answer_is_fit_for_everybody_on_a_small_and_on_a_large_screen(
    browser: Browser,
    filled: tuple[str, str],  # noqa: F811
    name: str,
) -> None:
    faults: list[str] = []
    for scheme in ("light", "dark"):
        page = at_the_desk(browser, filled, color_scheme=scheme)
        page.goto(f"{filled[0]}/calculations/{name}")
        page.get_by_role("button", name="Work it out").click()
        page.get_by_role("heading", name="What it stands on").wait_for()
        for width in (1280, 320):
            page.set_viewport_size({"width": width, "height": 800})
            faults += look(page, f"{name} at {width}, {scheme}")
        page.context.close()
    assert faults == []


def test_a_refusal_takes_the_keyboard_to_the_faults_and_from_there_to_the_box(
    browser: Browser,
    filled: tuple[str, str],  # noqa: F811
) -> None:
    page = at_the_desk(browser, filled, viewport={"width": 360, "height": 700})
    page.goto(f"{filled[0]}/calculations/cylinder?example=none")
    page.get_by_label("Gas on").first.fill("soon")
    page.get_by_role("button", name="Work it out").click()
    assert page.evaluate("document.activeElement.className") == "errors"
    assert look(page, "refused") == []
    page.locator('.errors a[href="#c-gas_on_s"]').click()
    assert page.evaluate("document.activeElement.id") == "c-gas_on_s"
    page.context.close()


def test_enter_in_a_box_works_it_out_and_adds_no_row(
    browser: Browser,
    filled: tuple[str, str],  # noqa: F811
) -> None:
    page = at_the_desk(browser, filled)
    page.goto(f"{filled[0]}/calculations/flammability")
    page.locator('input[name="components-0-gas"]').press("Enter")
    page.get_by_role("heading", name="What it stands on").wait_for()
    page.context.close()
