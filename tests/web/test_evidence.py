"""The evidence page: rates with limits, what an interval leaves undetected, and the caution."""

from __future__ import annotations

import re

from django.test import Client

from tests.web.conftest import Cast, ago, passed


def test_the_page_tells_the_record_with_its_caution(keeper: Client, cast: Cast) -> None:
    page = keeper.get("/evidence").content.decode()
    assert "How often do sensors fail here" in page
    assert "By itself it never loosens" in page
    assert "hydrogen sulfide, electrochemical" in page


def test_a_failure_is_counted_with_its_limits_and_drawn(keeper: Client, cast: Cast) -> None:
    cast.write(passed("D-017", ago(20), outcome="failed", missed="H2S"), minutes_ago=19, by=cast.tester)
    page = keeper.get("/evidence").content.decode()
    assert "2 sensors were found failed" in page  # D-018 failed before
    assert page.count('<svg role="img"') >= 2
    assert "Do they differ?" in page
    assert "In the light of all" in page
    assert "style=" not in page


def test_what_is_put_together_and_on_which_clock_is_chosen(keeper: Client, cast: Cast) -> None:
    page = keeper.get("/evidence?by=type&clock=handed-out&calibration=no&site=site:north-works")
    text = page.content.decode()
    assert '<option value="type" selected>' in text
    assert '<option value="handed-out" selected>' in text
    assert "North works" in text


def test_words_that_are_none_fall_back_to_what_is_usual(keeper: Client, cast: Cast) -> None:
    page = keeper.get("/evidence?by=colour&clock=lunar&site=site:nowhere")
    assert page.status_code == 200
    assert '<option value="channel" selected>' in page.content.decode()


def test_it_asks_to_sign_in(client: Client, cast: Cast) -> None:
    assert client.get("/evidence").status_code == 302


def test_a_target_is_answered_and_what_is_none_is_refused(cast: Cast, keeper: Client) -> None:
    page = keeper.get("/evidence?target=0,1").content.decode()
    assert 'value="0,1"' in page
    refused = keeper.get("/evidence?target=lots")
    assert refused.status_code == 422
    assert "write percent, such as 0.1" in refused.content.decode()


def test_what_the_rules_ask_for_stands_on_the_page(cast: Cast, keeper: Client) -> None:
    page = re.sub(r"\s+", " ", keeper.get("/evidence").content.decode())
    assert "The site rules in force ask for a test at least every 1 d" in page
