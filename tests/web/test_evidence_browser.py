"""Evidence and wear in a real browser: fit for everybody, not wider than the screen, charts with numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.web.test_pages_browser import at_the_desk, filled, look  # noqa: F401 (the fixture)

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = [pytest.mark.browser, pytest.mark.slow]

ADDRESSES = (
    "/evidence", "/evidence?by=age", "/evidence?by=adjusted&clock=handed-out", "/evidence?target=0.1",
    "/evidence?one_in=2500&untested=30&worth=0.5", "/evidence?one_in=2,500&target=lots", "/evidence/wear",
    "/evidence/wear?worn=lots", "/evidence/wear/D-017",
)  # fmt: skip
#: Charts and tables of numbers right after them; a chart without any counts as 0.
TABLES = """
[...document.querySelectorAll('.chart')].map(
    chart => chart.nextElementSibling?.querySelectorAll('tbody tr').length ?? 0)
"""


@pytest.mark.parametrize("address", ADDRESSES)
def test_it_is_fit_for_everybody_on_any_screen_in_light_and_in_the_dark(
    browser: Browser,
    filled: tuple[str, str],  # noqa: F811
    address: str,
) -> None:
    faults: list[str] = []
    for scheme in ("light", "dark"):
        page = at_the_desk(browser, filled, color_scheme=scheme)
        page.goto(filled[0] + address)
        page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
        for width in (1280, 390, 320):
            page.set_viewport_size({"width": width, "height": 800})
            faults += look(page, f"{address} {scheme} at {width}")
        page.context.close()
    assert faults == []


@pytest.mark.parametrize("address", ["/evidence", "/evidence?by=age", "/calculations/failure-rate"])
def test_each_chart_has_its_numbers_beside_it_on_the_screen_and_on_paper(
    browser: Browser,
    filled: tuple[str, str],  # noqa: F811
    address: str,
) -> None:
    page = at_the_desk(browser, filled)
    page.goto(filled[0] + address)
    if address.startswith("/calculations"):
        page.get_by_role("button", name="Work it out").click()
        page.get_by_role("heading", name="What it stands on").wait_for()
    rows = page.evaluate(TABLES)
    assert rows
    assert min(rows) >= 6
    assert page.locator(".chart svg[role=img]").count() == 2 * len(rows)
    page.emulate_media(media="print")
    numbers = page.locator("details.printed tbody")
    assert numbers.count() == len(rows)
    assert all(table.bounding_box() for table in numbers.all())
    assert not page.locator("details.printed > summary").first.is_visible()
    page.context.close()


def test_no_line_of_a_chart_is_told_by_its_colour_alone(
    browser: Browser,
    filled: tuple[str, str],  # noqa: F811
) -> None:
    """In grey and to colour-blind eyes lines differ by their dashes (WCAG 2.2, success criterion 1.4.1)."""
    page = at_the_desk(browser, filled)
    page.goto(f"{filled[0]}/evidence")
    drawn = page.evaluate(
        "[...document.querySelectorAll('.chart__wide svg')].map(svg => [...svg.querySelectorAll("
        "'[stroke-dasharray], .mark-line path, .mark-rule line')].map(line => "
        "[getComputedStyle(line).stroke, line.getAttribute('stroke-dasharray') || 'whole']))"
    )
    for lines in drawn:
        colours = {colour for colour, _dash in lines if colour != "none"}
        dashes = {dash for _colour, dash in lines}
        assert len(dashes) >= len(colours), lines
    page.context.close()


def test_a_refused_prevalence_takes_the_keyboard_to_its_box(
    browser: Browser,
    filled: tuple[str, str],  # noqa: F811
) -> None:
    page = at_the_desk(browser, filled, viewport={"width": 390, "height": 700})
    page.goto(f"{filled[0]}/evidence")
    page.get_by_text("Take a share found failed elsewhere into account").click()
    page.get_by_label("Found failed, 1 in").fill("2500")
    page.get_by_role("button", name="Show with it").click()
    page.locator(".errors").wait_for()
    assert page.evaluate("document.activeElement.className") == "errors"
    page.locator('.errors a[href="#e-untested"]').click()
    assert page.evaluate("document.activeElement.id") == "e-untested"
    page.get_by_label("Mean time untested, days").fill("30")
    page.get_by_label("Worth how many failures of your own").fill("0.5")
    page.get_by_role("button", name="Show with it").click()
    page.get_by_role("heading", name="With the prevalence you assume").wait_for()
    page.context.close()
