"""The calculations' pages ask and answer with the numbers that the command and the API give."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from django.test import Client

from pitbird.calc import registry
from pitbird.calc.definition import as_values
from pitbird.web.calc_words import number_shown, value_shown, words_of
from pitbird.web.forms.calc import sheet, typed_of
from tests.web.conftest import Cast

EXAMPLES = [
    pytest.param(name, each.request, id=f"{name}-{number}")
    for name in registry.LISTED
    for number, each in enumerate(registry.load(name).examples)
]


def same(one: Any, other: Any) -> bool:
    """Whether two requests are the same, numbers as numbers."""
    return bool(json.dumps(as_plain(one), sort_keys=True) == json.dumps(as_plain(other), sort_keys=True))


def as_plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: as_plain(each) for key, each in value.items() if each is not None}
    if isinstance(value, list | tuple):
        return [as_plain(each) for each in value]
    if isinstance(value, bool):
        return value
    try:
        return float(value)  # times of look-back may be written either way
    except (TypeError, ValueError):
        return value


@pytest.mark.parametrize(("name", "request_"), EXAMPLES)
def test_what_is_typed_into_the_boxes_is_the_request(name: str, request_: dict[str, Any]) -> None:
    schema = registry.load(name).request.model_json_schema()
    assert same(sheet(schema, typed_of(request_)).raw, request_)


@pytest.mark.parametrize(("name", "request_"), EXAMPLES)
def test_page_and_api_answer_an_example_alike(
    keeper: Client, cast: Cast, name: str, request_: dict[str, Any]
) -> None:
    page = keeper.post(f"/calculations/{name}", typed_of(request_))
    assert page.status_code == 200
    html = page.content.decode()
    answer = keeper.post(f"/api/calc/{name}", json.dumps(request_), content_type="application/json").json()
    assert answer == as_values(registry.load(name).answer(request_))
    assert answer["footing"]
    assert "What it stands on" in html
    assert "style=" not in html
    for value in answer.values():
        if isinstance(value, float):
            assert number_shown(value) in html or value_shown(value, "probability") in html


@pytest.mark.parametrize("name", registry.LISTED)
def test_an_empty_form_is_refused_with_every_box_that_is_wanted(
    keeper: Client, cast: Cast, name: str
) -> None:
    page = keeper.post(f"/calculations/{name}", {})
    assert page.status_code == 422
    assert "Put this right first" in page.content.decode()
    assert "missing" in page.content.decode()


def test_a_value_is_typed_in_the_unit_that_was_chosen(keeper: Client, cast: Cast) -> None:
    typed = {**typed_of({"free_gas_l": 58.0, "gas_on_s": 25.0, "flow_l_min": 0.5}), "free_gas_l": "2.0483",
             "free_gas_l-unit": "cubic feet"}  # fmt: skip
    litres = keeper.post("/calculations/cylinder", {**typed, "free_gas_l": "58", "free_gas_l-unit": "L"})
    feet = keeper.post("/calculations/cylinder", typed)
    assert litres.status_code == feet.status_code == 200
    # 1 ft3 = 28.316 85 L (NIST SP 811, appendix B.8), so 58 L = 2.0483 ft3
    token = re.compile(r'name="csrfmiddlewaretoken" value="\w+"')  # it may hold any digits
    shown = [token.sub("", page.content.decode()).count("278") for page in (feet, litres)]
    assert shown[0] == shown[1] > 0


def test_a_unit_that_is_not_offered_is_taken_for_the_fields_own(keeper: Client, cast: Cast) -> None:
    typed = {"free_gas_l": "58", "free_gas_l-unit": "gallons", "gas_on_s": "25", "flow_l_min": "0.5"}
    assert keeper.post("/calculations/cylinder", typed).status_code == 200


def test_one_more_row_keeps_what_was_typed_and_answers_nothing(keeper: Client, cast: Cast) -> None:
    typed = {**typed_of(registry.load("room-release").examples[0].request), "more": "components"}
    page = keeper.post("/calculations/room-release", typed)
    html = page.content.decode()
    assert page.status_code == 200
    assert 'id="c-components-1"' in html
    assert "What it stands on" not in html


def test_an_empty_row_in_between_is_left_out_and_a_fault_names_its_own_row(
    keeper: Client, cast: Cast
) -> None:
    typed = {
        "released_gas_l": "34", "room_m3": "28.3", "components-0-gas": "",
        "components-1-gas": "hydrogen sulfid", "components-1-ppm": "25",
    }  # fmt: skip
    html = keeper.post("/calculations/room-release", typed).content.decode()
    assert 'href="#c-components-1-gas"' in html
    assert "did you mean hydrogen sulfide" in html


def test_a_row_in_which_only_a_choice_stands_is_empty(keeper: Client, cast: Cast) -> None:
    typed = typed_of(registry.load("challenge").examples[0].request)
    page = keeper.post("/calculations/challenge", {**typed, "gas-components-9-unit": "ppm"})
    assert page.status_code == 200


OWN = {
    "released_gas_l": "34", "room_m3": "28.3",
    "components-0-gas": "hydrogen sulfide", "components-0-ppm": "25",
    "limits-0-gas": "hydrogen sulfide", "limits-0-ceiling_ppm": "10", "limits-0-source": "House rules, 2026",
}  # fmt: skip


def test_limits_of_ones_own_are_rows_and_give_what_the_api_gives(keeper: Client, cast: Cast) -> None:
    empty = keeper.get("/calculations/room-release?example=none").content.decode()
    assert all(f'name="limits-{row}-twa_8h_ppm"' in empty for row in (0, 1))
    assert 'name="limits"' in empty
    assert empty.count('id="c-limits"') == 1
    html = keeper.post("/calculations/room-release", OWN).content.decode()
    request = {
        "released_gas_l": 34, "room_m3": 28.3, "components": [{"gas": "hydrogen sulfide", "ppm": 25}],
        "limits": [{"gas": "hydrogen sulfide", "ceiling_ppm": 10, "source": "House rules, 2026"}],
    }  # fmt: skip
    told = keeper.post("/api/calc/room-release", json.dumps(request), content_type="application/json").json()
    [part] = told["components"]
    assert part["limit_source"] == "House rules, 2026"
    assert number_shown(part["peak_ratio"]) in html
    assert "House rules, 2026" in html


def test_a_row_of_limits_in_another_unit_is_turned_into_ppm(keeper: Client, cast: Cast) -> None:
    # 1 % vol = 10 000 ppm (SI: parts per hundred and per million).
    as_ppm = keeper.post("/calculations/room-release", OWN).content.decode()
    typed = {**OWN, "limits-0-ceiling_ppm": "0.001", "limits-0-ceiling_ppm-unit": "% vol"}
    as_percent = keeper.post("/calculations/room-release", typed).content.decode()
    told = [re.findall(r"<dd[^>]*>([^<]*)</dd>|<td[^>]*>([^<]*)</td>", page) for page in (as_ppm, as_percent)]
    assert told[0] == told[1] != []


def test_a_named_set_beside_rows_of_ones_own_is_refused_at_its_box(keeper: Client, cast: Cast) -> None:
    page = keeper.post("/calculations/room-release", {**OWN, "limits": "eu"})
    assert page.status_code == 422
    assert "keep one of the two" in page.content.decode()
    named = {key: value for key, value in OWN.items() if not key.startswith("limits")} | {"limits": "eu"}
    assert keeper.post("/calculations/room-release", named).status_code == 200


def test_faults_in_rows_of_limits_stand_at_their_own_row(keeper: Client, cast: Cast) -> None:
    typed = {**OWN, "limits-0-source": "", "limits-1-gas": "benzen", "limits-1-source": "House rules"}
    page = keeper.post("/calculations/room-release", typed)
    html = page.content.decode()
    assert page.status_code == 422
    assert 'href="#c-limits-0-source"' in html
    assert 'href="#c-limits-1-gas"' in html


def test_a_fault_in_a_number_is_told_at_its_box(keeper: Client, cast: Cast) -> None:
    html = keeper.post("/calculations/cylinder", {"gas_on_s": "soon", "free_gas_l": "-3"}).content.decode()
    assert 'href="#c-gas_on_s"' in html
    assert 'href="#c-free_gas_l"' in html
    assert 'value="soon"' in html


def test_a_calculation_that_is_none_is_not_found(keeper: Client, cast: Cast) -> None:
    assert keeper.get("/calculations/horoscope").status_code == 404
    told = keeper.post("/api/calc/horoscope", "{}", content_type="application/json")
    assert told.status_code == 422


def test_the_api_lists_and_describes_them_and_refuses_with_every_fault(keeper: Client, cast: Cast) -> None:
    assert set(keeper.get("/api/calc").json()["calculations"]) == set(registry.LISTED)
    described = keeper.get("/api/calc/cylinder").json()
    assert described["request"]["properties"]["gas_on_s"]
    assert described["examples"]
    refused = keeper.post("/api/calc/cylinder", '{"gas_on_s": "5", "x": 1}', content_type="application/json")
    assert refused.status_code == 422
    wheres = {fault["where"] for fault in refused.json()["faults"]}
    assert {"cylinder.gas_on_s", "cylinder.x"} <= wheres


def test_the_api_asks_to_sign_in(client: Client, cast: Cast) -> None:
    assert client.post("/api/calc/cylinder", "{}", content_type="application/json").status_code in (401, 403)


@pytest.mark.parametrize(
    ("field", "label", "unit"),
    [
        ("gas_on_s", "Gas on", "s"),
        ("t90_fast_s", "t90 fast", "s"),
        ("twa_8h_ppm", "8-hour mean", "ppm"),
        ("interzonal_flow_m3_min", "Interzonal flow", "m³/min"),
        ("pct_lfl", "Share of the LFL", "%LFL"),
        ("balance", "Balance", ""),
    ],
)
def test_a_fields_name_is_put_in_words_with_its_unit(field: str, label: str, unit: str) -> None:
    assert (words_of(field).label, words_of(field).unit) == (label, unit)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0.00085, "0.00085"),
        (12345, "12\u202f345"),
        (93, "93"),
        (3.14159, "3.142"),
        (1.5e-7, "1.5 × 10⁻⁷"),
        (0, "0"),
    ],
)
def test_numbers_are_shown_with_four_significant_figures(value: float, shown: str) -> None:
    assert number_shown(value) == shown


@pytest.mark.parametrize(
    ("value", "field", "shown"),
    [
        (None, "time_s", "never"),
        (None, "tests_left_low", "none"),
        (0.6046, "undetected_loss", "60.46 %"),
        (0.999999, "probability", "> 99.99 %"),
        (1.0, "probability", "100 %"),
        (True, "trips", "yes"),
    ],
)
def test_shares_are_shown_in_per_cent_and_a_chance_never_rounded_to_certainty(
    value: Any, field: str, shown: str
) -> None:
    assert value_shown(value, field) == shown
