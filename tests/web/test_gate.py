"""The gate's page."""

from __future__ import annotations

import re

from django.test import Client

from tests.web.conftest import Cast, ago, detector, passed


def text(client: Client, address: str, **headers: str) -> str:
    answer = client.get(address, headers=headers)
    assert answer.status_code == 200, answer.content
    return re.sub(r"\s+", " ", answer.content.decode())


def order(page: str) -> list[str]:
    return re.findall(r'class="serial" id="to-[^"]+" href="/detectors/([^"]+)"', page)


def test_the_gate_answers_in_words_and_lists_the_worst_first(keeper: Client) -> None:
    page = text(keeper, "/")
    assert "One of three may go out. One needs something first. One is out of service." in page
    assert order(page) == ["D-018", "D-019", "D-017"]


def test_each_that_stays_has_its_stamp_its_reason_and_what_to_do(keeper: Client) -> None:
    page = text(keeper, "/")
    failed = page[page.index("/detectors/D-018") : page.index("/detectors/D-019")]
    assert "stamp--out-of-service" in failed
    assert "since Mon 2 Mar, 10:40 WET" in failed
    assert "it failed a bump test" in failed
    assert "To do:" in failed


def test_what_may_go_out_says_until_when(keeper: Client) -> None:
    # Tested on Monday at 10:30; the working day ends on Tuesday at 04:00 on the site's clock.
    page = text(keeper, "/?verdict=may-go-out")
    assert order(page) == ["D-017"]
    assert "stamp--may-go-out" in page
    assert "until Tue 3 Mar, 04:00 WET" in page


def test_the_list_can_be_narrowed_by_words_stamp_and_site(keeper: Client) -> None:
    assert order(text(keeper, "/?q=88214")) == ["D-018"]
    assert order(text(keeper, "/?q=quartet+d-01")) == ["D-018", "D-019", "D-017"]
    assert order(text(keeper, "/?verdict=not-yet")) == ["D-019"]
    assert order(text(keeper, "/?site=north-works&verdict=out-of-service")) == ["D-018"]
    assert "No detector answers to this." in text(keeper, "/?q=nothing-like-it")


def test_for_a_wearer_without_training_the_gate_says_so(keeper: Client) -> None:
    page = text(keeper, "/?wearer=K-1&verdict=may-go-out")
    assert "for Ilda Fontanova" in page
    assert "Mind:" in page


def test_another_moment_is_said_to_be_no_present(keeper: Client) -> None:
    page = text(keeper, "/?at=2026-03-03T04:00")
    assert "Not the present." in page
    assert "Tue 3 Mar 2026, 04:00 WET" in page
    assert "At that moment: None of three may go out." in page
    assert "stamp--may-go-out" not in page


def test_as_known_then_uses_only_the_entries_below_an_index(cast: Cast, keeper: Client) -> None:
    assert "stamp--may-go-out" in text(keeper, "/?known=17&q=D-017")
    # Entry 15 holds the passed test of D-017; below it none is known.
    page = text(keeper, "/?known=15&q=D-017")
    assert "Only the first 15 entries of the book are used" in page
    assert "stamp--may-go-out" not in page


def test_as_known_at_a_time(keeper: Client) -> None:
    page = text(keeper, "/?known=2026-03-02T10:35&q=D-018")
    assert "as known then" in page
    assert "stamp--out-of-service" not in page
    assert "stamp--not-yet" in page


def test_a_question_that_cannot_be_read_is_refused_with_every_fault(keeper: Client) -> None:
    answer = keeper.get("/?at=soon&site=nowhere&wearer=nobody")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "at = soon" in page
    assert "site = nowhere" in page
    assert "wearer = nobody" in page
    assert "stamp--may-go-out" not in page


def test_htmx_gets_the_list_alone_and_no_cache_mixes_the_two(keeper: Client) -> None:
    answer = keeper.get("/?q=D-017", headers={"HX-Request": "true"})
    assert b"<html" not in answer.content
    assert b"D-017" in answer.content
    assert "HX-Request" in answer["Vary"]
    assert answer["Cache-Control"] == "no-store"
    # The answer above the list changes with it, so that the two never contradict each other.
    assert b'id="gate-answer" hx-swap-oob="true"><p>One of one may go out.</p>' in answer.content


def test_an_issue_without_a_test_is_loud_and_no_yes(cast: Cast, keeper: Client) -> None:
    cast.write(
        {
            "kind": "issued-untested", "detector": "detector:D-019", "to": "person:P-07",
            "authority": "person:K-1", "until": "2026-03-02T15:00:00.000Z", "reason": "Sewage rising.",
        },
        minutes_ago=5,
    )  # fmt: skip
    page = text(keeper, "/?q=D-019")
    assert "Issued untested until Mon 2 Mar, 15:00 WET." in page
    assert "stamp--may-go-out" not in page


def test_a_name_with_markup_in_it_stays_text(cast: Cast, keeper: Client) -> None:
    cast.write({**detector("D-020", "S<script>1"), "make": "<b>Bold</b>"}, minutes_ago=3)
    page = text(keeper, "/?q=D-020")
    assert "<b>Bold" not in page
    assert "&lt;b&gt;Bold" in page
    assert "&lt;x&gt;" in text(keeper, "/?q=%3Cx%3E")


def test_five_hundred_detectors_are_still_one_page(cast: Cast, keeper: Client) -> None:
    from pitbird.services.writing import write_all

    drafts = [detector(f"E-{number:03d}", f"X-{number}") for number in range(497)]
    write_all(drafts, cast.keeper, now=ago(4))
    page = text(keeper, "/")
    assert len(order(page)) == 500
    assert "498 need something first." in page
    assert len(page) < 1_500_000


def test_a_pass_shows_at_once(cast: Cast, keeper: Client) -> None:
    assert "stamp--not-yet" in text(keeper, "/?q=D-019")
    cast.write(passed("D-019", ago(2)), minutes_ago=1, by=cast.tester)
    assert "stamp--may-go-out" in text(keeper, "/?q=D-019")


def test_the_stamp_names_the_pass_that_counts_and_no_other(cast: Cast, keeper: Client) -> None:
    cast.write(passed("D-019", ago(26 * 60)), minutes_ago=25 * 60, by=cast.tester)
    reported = {"kind": "bump-test", "detector": "detector:D-019", "footing": "reported", "outcome": "passed"}
    cast.write(reported, minutes_ago=9, by=cast.tester)
    page = text(keeper, "/?q=D-019")
    assert "stamp--not-yet" in page
    assert "11:51" not in page[page.index("stamp__time") : page.index("</td>", page.index("stamp__time"))]
