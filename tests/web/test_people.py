"""People: roles, trainings, who has what."""

from __future__ import annotations

import re

from django.test import Client

from tests.web.conftest import Cast


def text(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.content
    return re.sub(r"\s+", " ", answer.content.decode())


def test_everybody_stands_there_with_roles_and_trainings(keeper: Client) -> None:
    page = text(keeper, "/people")
    assert "Rui Marrel" in page
    assert "tester, wearer" in page
    assert "bump test, until 2 Mar 2028" in page


def test_a_training_that_ran_out_yesterday_is_said_to_have(cast: Cast, keeper: Client) -> None:
    cast.write(
        {
            "kind": "training", "person": "person:K-1", "topic": "bump-test", "valid_until": "2026-03-01",
            "at": "2026-03-02T09:00:00.000Z",
        }
    )  # fmt: skip
    assert "ran out on 1 Mar 2026" in text(keeper, "/people")
    assert "1 Mar 2026 <strong>(ran out)" in text(keeper, "/people/K-1")


def test_a_training_holds_through_its_last_day(cast: Cast, keeper: Client) -> None:
    cast.write(
        {"kind": "training", "person": "person:K-1", "topic": "bump-test", "valid_until": "2026-03-02"}
    )
    assert "bump test, until 2 Mar 2026" in text(keeper, "/people")
    assert "ran out" not in text(keeper, "/people/K-1")


def test_the_page_of_one_shows_the_detectors_they_have(cast: Cast, keeper: Client) -> None:
    cast.write(
        {"kind": "handed-out", "detector": "detector:D-017", "to": "person:P-07", "from_store": True},
        minutes_ago=3,
    )
    page = text(keeper, "/people/P-07")
    assert 'href="/detectors/D-017"' in page
    assert ">Mon 2 Mar, 11:57 WET<" in page
    assert "stamp--may-go-out" in page


def test_a_name_that_was_erased_is_withheld(cast: Cast, keeper: Client) -> None:
    from pitbird.fleet.state import PersonState
    from pitbird.services.knowing import Now
    from pitbird.store import blobs

    state = Now().state("person:P-07")
    assert isinstance(state, PersonState)
    assert state.name is not None
    blobs.erase([state.name])
    assert "P-07 (name withheld)" in text(keeper, "/people/P-07")
    assert "Marrel" not in text(keeper, "/book")
