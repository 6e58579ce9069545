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


ASSUMED = "one_in=1+in+2500&untested=30&worth=0,5"


def test_a_prevalence_stands_beside_the_record_and_never_by_itself(cast: Cast, keeper: Client) -> None:
    plain = keeper.get("/evidence").content.decode()
    assert "With the prevalence you assume" not in plain
    page = re.sub(r"\s+", " ", keeper.get(f"/evidence?{ASSUMED}").content.decode())
    assert "It is your own assumption, no finding of this record." in page
    assert "0.5 in 100" in page
    assert 'value="1 in 2500"' in page
    # The sentence for a report is the same with it and without it.
    (sentence,) = set(re.findall(r"<p>(Oxygen: [^<]*)</p>", page))
    assert sentence in re.sub(r"\s+", " ", plain)


def test_a_prevalence_without_its_time_is_refused_at_its_box(cast: Cast, keeper: Client) -> None:
    refused = keeper.get("/evidence?one_in=2,500&worth=9999&by=type")
    page = refused.content.decode()
    assert refused.status_code == 422
    assert "Mean time untested, days: missing" in page
    assert "Found failed, 1 in “2,500”: write it without a mark between the thousands" in page
    assert page.count('aria-invalid="true"') == 3
    assert '<input type="hidden" name="by" value="type">' in page


def test_ages_are_told_in_words(cast: Cast, keeper: Client) -> None:
    page = keeper.get("/evidence?by=age").content.decode()
    assert "age not known" in page
    assert "Sensors of an age that is not known: " in page
    assert "since a sensor was put in" in page
    assert "Sensors in the first year after they were last adjusted" in (
        keeper.get("/evidence?by=adjusted").content.decode()
    )
