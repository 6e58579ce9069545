"""The HTTP API: the gate, one detector, writing one entry, and the one shape of its errors."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.http import HttpResponse
from django.test import Client

from pitbird.store import book
from pitbird.store.models import Login
from tests.web.conftest import KEEPER, SITE, Cast

ID = "0195a000-0000-7000-8000-0000000000aa"


def post(client: Client, draft: object) -> HttpResponse:
    """Send one draft, or text as it is."""
    data = draft if isinstance(draft, str) else json.dumps(draft)
    return client.post("/api/entries", data, content_type="application/json")  # type: ignore[return-value]


def error(answer: Any, status: int) -> dict[str, Any]:
    """A refusal of the one shape."""
    assert answer.status_code == status, answer.content
    said: dict[str, Any] = json.loads(answer.content)
    assert set(said) == {"error", "message", "faults"}
    for fault in said["faults"]:
        assert set(fault) >= {"where", "value", "problem"}
    return said


def test_the_gate_says_what_decided_and_what_warns(keeper: Client) -> None:
    answer = keeper.get("/api/gate")
    assert answer["Content-Type"].startswith("application/json")
    assert answer["Cache-Control"] == "no-store"
    said, whole = answer.json(), keeper.get("/api/gate", {"findings": "all"}).json()
    assert (said["findings"], whole["findings"]) == ("telling", "all")
    assert len(said["detectors"]) == len(whole["detectors"]) == 3
    for short, full in zip(said["detectors"], whole["detectors"], strict=True):
        assert short["findings"] == [
            each
            for each in full["findings"]
            if each["decisive"] or (each["strength"] == "warns" and each["outcome"] in ("not-met", "unknown"))
        ]
        assert {**short, "findings": []} == {**full, "findings": []}
    assert [any(each["decisive"] for each in row["findings"]) for row in said["detectors"]] == [
        True, True, False,
    ]  # fmt: skip
    assert any(each["strength"] == "warns" for each in said["detectors"][2]["findings"])


def test_the_gate_knows_no_other_choice_of_findings(keeper: Client) -> None:
    error(keeper.get("/api/gate", {"findings": "none"}), 422)


def test_the_gate_with_all_findings(keeper: Client) -> None:
    said = keeper.get("/api/gate", {"findings": "all"}).json()
    assert [(row["detector"], row["verdict"]) for row in said["detectors"]] == [
        ("detector:D-018", "out-of-service"),
        ("detector:D-019", "not-yet"),
        ("detector:D-017", "may-go-out"),
    ]
    best = said["detectors"][-1]
    # Tested on Monday; the working day ends on Tuesday at 04:00 in Lisbon, which is UTC in winter.
    assert best["until"] == "2026-03-03T04:00:00.000Z"
    assert best["rules"] == "strict"
    assert len(best["findings"]) > 10
    worst = next(each for each in said["detectors"][0]["findings"] if each["decisive"])
    assert (worst["rule"], worst["outcome"], worst["strength"]) == ("in-service", "not-met", "stops")
    assert worst["sentence"]


def test_the_gate_for_another_moment_and_as_known_then(keeper: Client) -> None:
    late = keeper.get("/api/gate", {"at": "2026-03-03T04:00:00Z"}).json()
    assert {row["verdict"] for row in late["detectors"]} == {"not-yet", "out-of-service"}
    then = keeper.get("/api/gate", {"known": "15"}).json()
    assert then["known_below"] == 15
    assert {row["verdict"] for row in then["detectors"]} == {"not-yet"}


def test_a_question_with_faults_names_every_one(keeper: Client) -> None:
    said = error(keeper.get("/api/gate", {"at": "soon", "site": "nowhere", "wearer": "x"}), 422)
    assert [fault["where"] for fault in said["faults"]] == ["site", "wearer", "at"]


def test_one_detector_with_state_and_decision(keeper: Client) -> None:
    said = keeper.get("/api/detectors/D-017").json()
    assert said["verdict"] == "may-go-out"
    assert said["state"]["serial"] == "Q-88213"
    assert error(keeper.get("/api/detectors/D-404"), 404)["error"] == "not-in-the-book"
    assert error(keeper.get("/api/detectors/D-019", {"known": "3"}), 404)["error"] == "not-in-the-book"


def test_an_entry_is_written_once_however_often_it_is_sent(keeper: Client) -> None:
    draft = {"kind": "happened", "id": ID, "detector": "detector:D-017", "what": "drop"}
    first, second = post(keeper, draft), post(keeper, draft)
    assert (first.status_code, second.status_code) == (201, 200)
    assert json.loads(first.content)["index"] == json.loads(second.content)["index"] == 17
    assert json.loads(second.content)["again"] is True
    assert book.head().size == 18
    taken = error(post(keeper, {**draft, "what": "water"}), 409)
    assert taken["error"] == "id-taken"
    assert book.head().size == 18


def test_a_refused_entry_names_every_fault(keeper: Client) -> None:
    said = error(
        post(
            keeper,
            {
                "kind": "handed-out",
                "detector": "detector:D 17",
                "to": "P-07",
                "from_store": "yes",
                "when": "now",
            },
        ),
        422,
    )
    assert {fault["where"] for fault in said["faults"]} == {
        "handed-out.detector", "handed-out.to", "handed-out.from_store", "handed-out.when",
    }  # fmt: skip
    assert book.head().size == 17


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ('{"kind": "note", "kind": "note"}', "entry"),
        ('{"kind": "note", "subject": {"a": 1, "a": 2}}', "subject"),
        ("{", "entry"),
        ("[]", "entry"),
        ('"note"', "entry"),
        ("{}", "entry.kind"),
        ('{"kind": "levitation"}', "entry.kind"),
        ('{"kind": 7}', "entry.kind"),
        ('{"kind": ' + "[" * 5000 + "]" * 5000 + "}", ""),
        ('{"kind": "note", "subject": NaN}', "note.subject"),
        ('{"kind": "note", "\\u00e9": "x", "subject": "site:north-works", "text": "x"}', ""),
    ],
)
def test_what_is_no_entry_is_refused_with_its_place(keeper: Client, text: str, where: str) -> None:
    said = error(post(keeper, text), 422)
    assert any(where in fault["where"] for fault in said["faults"]), said
    assert book.head().size == 17


def test_bare_numbers_are_refused_beside_every_other_fault(keeper: Client) -> None:
    said = error(post(keeper, '{"kind": "gauge-read", "cylinder": "C-112", "gauge_bar": 41.5}'), 422)
    assert {fault["where"] for fault in said["faults"]} == {"gauge-read.cylinder", "gauge-read.gauge_bar"}


def test_nobody_writes_in_the_name_of_another(keeper: Client) -> None:
    said = error(
        post(keeper, {"kind": "note", "subject": "site:north-works", "text": "x", "by": "person:P-07"}), 422
    )
    assert said["faults"][0]["where"] == "note.by"


def test_a_tester_does_not_write_what_takes_a_keeper(tester: Client) -> None:
    said = error(
        post(
            tester,
            {"kind": "correction", "corrects": ID, "of_about": ["site:x"], "how": "void", "reason": "x"},
        ),
        403,
    )
    assert said["error"] == "no-right"
    assert post(tester, {"kind": "happened", "detector": "detector:D-017", "what": "drop"}).status_code == 201


@pytest.mark.parametrize("kind", ["genesis", "erasure", "epoch", "key-changed", "audit-opened", "device"])
def test_what_has_its_own_way_into_the_book_is_not_written_here(keeper: Client, kind: str) -> None:
    assert error(post(keeper, {"kind": kind}), 403)["error"] == "no-right"


def test_without_a_session_the_api_answers_in_its_own_shape(cast: Cast) -> None:
    for answer in (Client().get("/api/gate"), Client().get("/api/detectors/D-017"), post(Client(), {})):
        assert error(answer, 401)["error"] == "not-signed-in"


def test_writing_asks_for_the_csrf_token(cast: Cast) -> None:
    user = User.objects.create_user("ilda")
    Login.objects.create(user=user, person=KEEPER, site=SITE)
    client = Client(enforce_csrf_checks=True)
    client.force_login(user)
    draft = {"kind": "happened", "detector": "detector:D-017", "what": "drop"}
    error(post(client, draft), 403)
    client.get("/")
    token = client.cookies["pitbird-csrf"].value
    answer = client.post(
        "/api/entries", json.dumps(draft), content_type="application/json", headers={"X-CSRFToken": token}
    )
    assert answer.status_code == 201


def test_an_account_without_a_person_writes_nothing(cast: Cast) -> None:
    client = Client()
    client.force_login(User.objects.create_user("nobody"))
    assert error(post(client, {"kind": "happened", "detector": "detector:D-017", "what": "drop"}), 403)


def test_there_is_no_page_of_documentation_from_elsewhere_and_the_schema_is_behind_the_door(
    keeper: Client, cast: Cast
) -> None:
    assert keeper.get("/api/docs").status_code == 404
    schema = keeper.get("/api/openapi.json").json()
    assert set(schema["paths"]) == {
        "/api/gate", "/api/detectors/{code}", "/api/entries", "/api/calc", "/api/calc/{name}",
            "/api/checkpoint", "/api/proof/inclusion", "/api/proof/consistency",
            "/api/proof/subject", "/api/field/snapshot", "/api/field/entries", "/api/field/pin",
            "/api/field/pair", "/api/field/answer",
    }  # fmt: skip
    assert Client().get("/api/openapi.json").status_code == 302
