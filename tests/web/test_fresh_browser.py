"""A yes on a screen that has grown old, or that the Back button brings back, does not read as a yes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

from tests.web.test_pages_browser import at_the_desk, filled, look  # noqa: F401 (the fixture)

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = [pytest.mark.browser, pytest.mark.slow]
Desk = tuple[str, str]
YES, CANNOT_TELL = ".stamp--may-go-out", ".stamp--cannot-tell"


@contextmanager
def opened(browser: Browser, desk: Desk, address: str = "/") -> Iterator[Page]:
    """A page whose clock is ours to turn."""
    page = at_the_desk(browser, desk)
    page.clock.install()
    page.goto(desk[0] + address)
    yield page
    page.context.close()


@pytest.mark.parametrize("address", ["/", "/detectors/D-017"])
def test_without_a_word_from_the_server_a_yes_turns_into_look_again(
    browser: Browser,
    filled: Desk,  # noqa: F811
    address: str,
) -> None:
    with opened(browser, filled, address) as page:
        many, doubtful = page.locator(YES).count(), page.locator(CANNOT_TELL).count()
        assert many
        page.route("**/*", lambda route: route.abort())
        page.clock.run_for("04:30")
        assert page.locator(YES).count() == many
        page.clock.run_for("01:00")
        assert page.locator(YES).count() == 0
        assert page.locator(CANNOT_TELL).count() == many + doubtful
        assert page.locator(CANNOT_TELL).last.inner_text().lower().endswith("look again")
        assert page.locator("#old").count() == 1
        assert "until" not in page.locator(f"{CANNOT_TELL}:has-text('look again')").first.inner_text()
        page.unroute("**/*")
        for width in (1280, 320):
            page.set_viewport_size({"width": width, "height": 800})
            assert look(page, f"{address}, old, at {width}") == []
        page.get_by_role("link", name="Ask again").click()
        page.locator(YES).first.wait_for()
        assert page.locator(YES).count() == many


def test_a_gate_that_is_answered_each_minute_stays_fresh(
    browser: Browser,
    filled: Desk,  # noqa: F811
) -> None:
    with opened(browser, filled) as page:
        for _ in range(7):
            with page.expect_response(lambda answer: answer.request.headers.get("hx-request") == "true"):
                page.clock.run_for("01:00")
            page.wait_for_load_state("networkidle")
        assert page.locator(YES).count()
        assert page.locator("#old").count() == 0


def test_an_old_gate_that_is_answered_again_says_so_no_more(
    browser: Browser,
    filled: Desk,  # noqa: F811
) -> None:
    with opened(browser, filled) as page:
        page.route("**/*", lambda route: route.abort())
        page.clock.run_for("06:00")
        page.locator("#old").wait_for()
        page.unroute("**/*")
        page.clock.run_for("01:00")
        page.locator(YES).first.wait_for()
        assert page.locator("#old").count() == 0


def test_a_page_about_the_past_says_of_when_it_is_and_stays(
    browser: Browser,
    filled: Desk,  # noqa: F811
) -> None:
    with opened(browser, filled) as page:
        then = page.evaluate("new Date(Date.now() - 60000).toISOString().slice(0, 16)")
        page.goto(f"{filled[0]}/?at={then}")
        assert page.locator(".past").count() == 1
        many = page.locator(YES).count()
        page.clock.run_for("06:00")
        assert page.locator(YES).count() == many
        assert page.locator("#old").count() == 0


def test_a_page_out_of_the_browsers_memory_is_asked_for_anew(
    browser: Browser,
    filled: Desk,  # noqa: F811
) -> None:
    page = at_the_desk(browser, filled)
    answer = page.goto(f"{filled[0]}/detectors/D-017")
    assert answer is not None
    assert answer.headers["cache-control"] == "no-store"
    with page.expect_navigation():
        page.evaluate("window.dispatchEvent(new PageTransitionEvent('pageshow', {persisted: true}))")
    assert page.locator(YES).count()
    page.context.close()


def test_back_to_an_earlier_filter_asks_anew_and_no_list_stays_in_the_browser(
    browser: Browser,
    filled: Desk,  # noqa: F811
) -> None:
    page = at_the_desk(browser, filled)
    page.goto(filled[0])
    page.get_by_label("Stamp", exact=True).select_option("out-of-service")
    page.wait_for_url("**verdict=out-of-service*")
    kept = page.evaluate("[...Object.values(sessionStorage), ...Object.values(localStorage)].join()")
    assert "D-01" not in kept
    with page.expect_response(lambda answer: answer.request.resource_type == "document"):
        page.go_back()
    page.locator(YES).first.wait_for()
    page.context.close()
