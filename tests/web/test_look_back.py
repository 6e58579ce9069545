"""The pages of look-back: what is in question, what was decided, and who may."""

from __future__ import annotations

import re
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from pitbird.fleet.times import text_of
from pitbird.services.erasing import erase_person
from pitbird.services.look_back_decisions import decisions
from pitbird.store import book
from pitbird.web.look_back_words import chance_words
from tests.web.conftest import KEEPER, TESTER, Cast, ago, passed, sign_in


def out(code: str, minutes: float, to: str = TESTER, **fields: Any) -> dict[str, Any]:
    return {
        "kind": "handed-out", "detector": f"detector:{code}", "to": to, "from_store": True,
        "at": text_of(ago(minutes)), **fields,
    }  # fmt: skip


@pytest.fixture
def used(cast: Cast) -> int:
    """D-017 passed 90 minutes ago, was used under a permit from 80 to 40 minutes ago, and failed on H2S 20
    minutes ago; the place of that fail in the book."""
    cast.write(out("D-017", 80, permit="PTW-1184"), minutes_ago=80)
    back = {"kind": "handed-back", "detector": "detector:D-017", "at": text_of(ago(40))}
    cast.write(back, minutes_ago=40)
    failed = cast.write(passed("D-017", ago(20), outcome="failed", missed="H2S"), minutes_ago=19)
    row = book.by_id(failed)
    assert row is not None
    return row.index


def plain(answer: Any) -> str:
    """The text of a page without its marks."""
    text = re.sub(r"<(script|style).*?</\1>|<[^>]+>", " ", answer.content.decode(), flags=re.DOTALL)
    return re.sub(r"\s+", " ", text)


def decision(answer: Any, **changes: str) -> dict[str, str]:
    """The form of a page filled in."""
    text = answer.content.decode()
    hidden = dict(re.findall(r'type="hidden" name="(entry_id|book_size)" value="([^"]+)"', text))
    return {
        **hidden, "outcome": "no-work-affected", "assessed_by": KEEPER, "done": "Asked the wearer: no gas.",
        **changes,
    }  # fmt: skip


def test_a_failed_test_shows_who_had_it_where_and_on_which_permit(keeper: Client, used: int) -> None:
    text = plain(keeper.get(f"/look-back/{used}"))
    assert "H2S failed at Mon 2 Mar, 11:40 WET" in text or "H2S failed at Mon 2 Mar, 11:39 WET" in text
    assert "1 use is in question." in text
    for word in ("Rui Marrel", "North works", "PTW-1184", "Order of chance", "Nothing here clears a use."):
        assert word in text
    assert "A small chance never clears a use." in text
    assert "%" not in text.partition("Taken out")[2].partition("Chance")[0], "no chance without a rate"


def test_with_a_rate_both_clocks_are_told(keeper: Client, used: int) -> None:
    """At a rate of 0 the chance by the end is the share of the time: gas on
    91 minutes ago, back 40, gas on 21 minutes ago, so 51 of 70 minutes; and all of the use."""
    text = plain(keeper.get(f"/look-back/{used}?rate=0"))
    assert "72.9 %" in text
    assert "100 %" in text


def test_the_fleets_own_record_gives_the_rate_where_it_can(keeper: Client, used: int) -> None:
    """Chances with their source, or the sentence that the record does not say enough; never both."""
    text = plain(keeper.get(f"/look-back/{used}?rate=record"))
    assert "own record" in text
    assert ("On the calendar" in text) != ("The record does not say enough" in text)


def test_the_reason_on_the_detectors_page_leads_to_the_look_back(keeper: Client, used: int) -> None:
    page = keeper.get("/detectors/D-017").content.decode()
    place = re.search(r'href="(/look-back/id/[^"]+)"', page)
    assert place is not None
    assert keeper.get(place[1])["Location"] == f"/look-back/{used}"
    assert keeper.get("/look-back/id/nowhere").status_code == 404


@pytest.mark.parametrize("rate", ["-1", "often", "nan", "inf"])
def test_a_rate_that_is_none_gets_no_list(keeper: Client, used: int, rate: str) -> None:
    answer = keeper.get(f"/look-back/{used}?rate={rate}")
    assert answer.status_code == 422
    assert "PTW-1184" not in answer.content.decode()


def test_a_known_event_stands_in_place_of_the_chance(keeper: Client, cast: Cast, used: int) -> None:
    drop = {"kind": "happened", "detector": "detector:D-017", "what": "drop", "at": text_of(ago(60))}
    cast.write(drop, minutes_ago=10)
    text = plain(keeper.get(f"/look-back/{used}?rate=0.2"))
    assert "Known events come first." in text
    assert "take as failed: a drop" in text
    assert "72.9 %" not in text


def test_the_decision_is_written_and_shown_with_the_list(keeper: Client, used: int) -> None:
    page = keeper.get(f"/look-back/{used}")
    assert "Nobody has decided yet" in plain(page)
    assert "D-017" in plain(keeper.get("/look-back"))
    filled = decision(page)
    answer = keeper.post(f"/look-back/{used}", filled)
    assert (answer.status_code, answer["Location"]) == (302, f"/look-back/{used}")
    text = plain(keeper.get(f"/look-back/{used}"))
    for word in ("No work affected", "Asked the wearer: no gas.", "assessed by Ilda Fontanova"):
        assert word in text
    assert "the newest stand first" not in text
    (made,) = decisions("detector:D-017")
    assert made.body["failed"] == book.at_index(used).entry_id  # type: ignore[union-attr]
    again = keeper.post(f"/look-back/{used}", filled)
    assert again.status_code == 302
    assert len(decisions()) == 1, "sent twice, written once"


def test_a_decision_with_faults_names_every_field_and_writes_nothing(keeper: Client, used: int) -> None:
    page = keeper.get(f"/look-back/{used}")
    size = book.head().size
    answer = keeper.post(
        f"/look-back/{used}", {**decision(page), "outcome": "", "done": "", "book_size": "9999"}
    )
    assert answer.status_code == 422
    text = plain(answer)
    assert "What was found: This field is required." in text
    assert "the book holds fewer entries" in text
    assert book.head().size == size


def test_what_came_after_the_list_was_shown_is_said(keeper: Client, cast: Cast, used: int) -> None:
    page = keeper.get(f"/look-back/{used}")
    cast.write(out("D-017", 30, to=KEEPER), minutes_ago=5)
    keeper.post(f"/look-back/{used}", decision(page))
    text = plain(keeper.get(f"/look-back/{used}"))
    assert "Written since the list was shown, and not on it: 1." in text
    assert "1 entry that bears on it was written since, and was not on the list" in text
    assert "decided, but 1 entry came since" in plain(keeper.get("/look-back"))


def test_a_tester_sees_the_list_and_decides_nothing(cast: Cast, used: int) -> None:
    tester = sign_in(TESTER, "rui")
    page = tester.get(f"/look-back/{used}")
    assert page.status_code == 200
    assert "Record the decision" not in page.content.decode()
    assert tester.post(f"/look-back/{used}", decision(page)).status_code == 403
    assert tester.get("/look-back/person/K-1").status_code == 403
    assert decisions() == ()


def test_a_pass_is_nothing_to_look_back_from(keeper: Client, used: int) -> None:
    passed_at = next(row.index for row in book.of_kind("bump-test"))
    answer = keeper.get(f"/look-back/{passed_at}")
    assert answer.status_code == 404
    assert "shows no failure" in answer.content.decode()
    assert keeper.get("/look-back/999999").status_code == 404


def test_from_a_cylinder_to_the_uses_and_to_a_decision(keeper: Client, used: int) -> None:
    page = keeper.get("/look-back/gas/C-112")
    text = plain(page)
    for word in ("D-017", "Rui Marrel", "PTW-1184", "nothing else has shown it to be good since"):
        assert word in text
    assert keeper.post("/look-back/gas/C-112", decision(page, outcome="work-affected")).status_code == 302
    (made,) = decisions("cylinder:C-112")
    assert (made.body["of"], made.body["outcome"]) == (["cylinder:C-112"], "work-affected")
    assert keeper.get("/look-back/gas/C-404").status_code == 404
    assert "PTW-1184" not in plain(keeper.get("/look-back/gas/C-112?until=2026-03-01"))
    assert keeper.get("/look-back/gas/C-112?since=yesterday").status_code == 422
    assert keeper.get("/look-back/gas/C-112?since=2026-03-02&until=2026-03-01").status_code == 422


def test_from_a_tester_to_the_uses_and_a_name_that_was_erased_is_withheld(
    keeper: Client, cast: Cast, used: int
) -> None:
    text = plain(keeper.get("/look-back/person/P-07"))
    assert "Which work rested on tests by Rui Marrel?" in text
    assert "PTW-1184" in text
    erase_person(TESTER, [], "request", cast.keeper)
    text = plain(keeper.get("/look-back/person/P-07"))
    assert "Marrel" not in text
    assert "P-07 (name withheld)" in text
    assert "Marrel" not in plain(keeper.get(f"/look-back/{used}"))


def test_the_pages_of_the_detector_the_gas_the_person_and_the_entry_lead_there(
    keeper: Client, used: int
) -> None:
    for page, place in (
        (f"/book/{used}", f"/look-back/{used}"), ("/detectors/D-017", f"/look-back/{used}"),
        ("/gas/C-112", "/look-back/gas/C-112"), ("/people/P-07", "/look-back/person/P-07"),
        ("/", "/look-back"),
    ):  # fmt: skip
        assert f'href="{place}"' in keeper.get(page).content.decode()
    passed_at = next(row.index for row in book.of_kind("bump-test"))
    assert "Look back from it" not in keeper.get(f"/book/{passed_at}").content.decode()


def test_an_id_that_stands_for_something_else_is_told(keeper: Client, used: int) -> None:
    page = keeper.get(f"/look-back/{used}")
    filled = decision(page)
    keeper.post(f"/look-back/{used}", filled)
    answer = keeper.post(f"/look-back/{used}", {**filled, "done": "Something else."})
    assert answer.status_code == 422
    assert "sent before with other words" in answer.content.decode()
    unknown = keeper.post(f"/look-back/{used}", {**filled, "entry_id": str(uuid4())})
    assert unknown.status_code == 422, "no UUID of version 7"


@pytest.mark.parametrize(
    ("chance", "words"),
    [(None, ""), (0.0, "0 %"), (1e-9, "below 0.1 %"), (0.2, "20 %"), (0.71428, "71.4 %"),
     (0.9999, "above 99.9 %"), (1.0, "100 %")],
)  # fmt: skip
def test_a_chance_is_never_rounded_to_none_nor_to_certainty(chance: float | None, words: str) -> None:
    assert chance_words(chance).replace("\u00a0", " ") == words


@pytest.fixture
def untrained(cast: Cast) -> int:
    """A pass by somebody of whom no training is known, and a use after it; the place of the pass."""
    cast.write({"kind": "person", "person": "person:P-19", "name": "Teo Branco"}, minutes_ago=100)
    test = cast.write({**passed("D-017", ago(60)), "by": "person:P-19"}, minutes_ago=59)
    cast.write(out("D-017", 50, permit="PTW-7"), minutes_ago=50)
    row = book.by_id(test)
    assert row is not None
    return row.index


def test_somebody_untrained_is_listed_with_the_reason_and_decided_about(
    keeper: Client, untrained: int
) -> None:
    listed = keeper.get("/look-back")
    text = plain(listed)
    assert "P-19 Teo Branco" in text
    assert "1 test without valid training: No training of Teo Branco is on record for: bump test." in text
    assert "/look-back/person/P-19?untrained=1" in listed.content.decode()
    page = keeper.get("/look-back/person/P-19?untrained=1")
    told = plain(page)
    for words in (
        "without valid training?",
        "One passed test:",
        f"entry {untrained}",
        "PTW-7",
        "North works",
    ):
        assert words in told
    assert keeper.post("/look-back/person/P-19?untrained=1", decision(page)).status_code == 302
    assert "P-19 Teo Branco" not in plain(keeper.get("/look-back"))
    assert decisions("person:P-19")[0].body["assessed_by"] == KEEPER


def test_who_tested_untrained_is_told_to_those_who_decide_only(cast: Cast, untrained: int) -> None:
    text = plain(sign_in(TESTER, "rui").get("/look-back"))
    assert "P-19" not in text
    assert "Testers are listed for the keeper and competent persons." in text


def test_a_person_without_a_refused_test_is_told_so(keeper: Client, used: int) -> None:
    text = plain(keeper.get("/look-back/person/P-07?untrained=1"))
    assert "No passed test is refused for this tester, as far as the book knows." in text
