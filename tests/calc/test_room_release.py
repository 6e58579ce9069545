"""Gas let into a room, from plain values to plain values: numbers of the trade, and every refusal."""

from __future__ import annotations

from math import exp
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitbird.calc.definition import Refused, as_values
from pitbird.calc.exposure import LimitSetName
from pitbird.calc.registry import answer
from pitbird.calc.room_release import CALCULATION, courses, ppm_at
from pitbird.science.exposure_limits import SETS

H2S = [{"gas": "hydrogen sulfide", "ppm": 25}]
VAN = {"released_gas_l": 116, "components": H2S, "balance": "nitrogen", "room_m3": 6}
OWN = {"gas": "H2S", "twa_15min_ppm": 5, "twa_8h_ppm": 1, "source": "TLV, ACGIH"}


def found(**changed: Any) -> dict[str, Any]:
    return answer("room-release", VAN | changed)


def faults(**changed: Any) -> list[str]:
    raw = {key: value for key, value in (VAN | changed).items() if value is not ...}
    with pytest.raises(Refused) as refused:
        CALCULATION.answer(raw)
    return [str(fault) for fault in refused.value.faults]


@pytest.mark.parametrize(
    ("room_m3", "ppm"),
    # Common practice, no source: 34 L of 25 ppm in 1,000 cubic feet (28.3 m³) and in 1,000 m³.
    [(28.3, 0.03), (1000, 0.00085)],
)
def test_a_small_cylinder_emptied_into_a_large_room(room_m3: float, ppm: float) -> None:
    (h2s,) = found(released_gas_l=34, room_m3=room_m3)["components"]
    assert h2s["peak_ppm"] == pytest.approx(ppm, rel=0.02)
    assert h2s["peak_ppm"] == h2s["twa_15min_ppm"] == h2s["twa_8h_ppm"]  # nothing carries it out


def test_a_cylinder_of_two_gases_emptied_into_a_room() -> None:
    """By hand: 103 L with 100 ppm CO and 25 ppm H2S in 30 m³: 0.34 and 0.086 ppm, oxygen 20.83 %."""
    components = [{"gas": "CO", "ppm": 100}, {"gas": "H2S", "ppm": 25}]
    result = found(released_gas_l=103, room_m3=30, components=components)
    assert [c["gas"] for c in result["components"]] == ["CO", "H2S"]
    assert [c["peak_ppm"] for c in result["components"]] == pytest.approx([0.34, 0.086], abs=0.005)
    assert result["oxygen_vol_pct_min"] == pytest.approx(20.83, abs=0.005)


def test_half_a_litre_a_minute_into_a_flow_of_fresh_air_settles_at_its_share() -> None:
    """By hand: 0.5 L/min of 25 ppm into 60 m³/h: 0.0125 ppm."""
    result = found(released_gas_l=0.5 * 600, room_m3=10, air_changes_per_h=6, release_minutes=600)
    assert result["components"][0]["peak_ppm"] == pytest.approx(0.0125, rel=1e-3)


def test_build_up_of_the_industrial_ventilation_manual() -> None:
    """ACGIH, Industrial Ventilation: 1.2 cfm, 2000 cfm effective, 100 000 ft³: 419 ppm after 60 minutes.

    Inputs from memory (high). Here with 6000 cfm and K = 3; pure vapour.
    """
    foot3 = 28.316846592
    result = found(
        released_gas_l=72 * foot3,
        components=[{"gas": "toluene", "vol_pct": 100}],
        room_m3=100_000 * foot3 / 1000,
        air_changes_per_h=3.6,
        mixing_divisor=3,
        release_minutes=60,
    )
    assert result["components"][0]["peak_ppm"] == pytest.approx(419, abs=0.5)
    assert any("divided by K = 3 (ACGIH" in line for line in result["footing"])


def test_the_two_conventions_of_mixing_give_the_same_where_they_mean_the_same() -> None:
    divided = found(air_changes_per_h=6, mixing_divisor=4)
    multiplied = found(air_changes_per_h=6, mixing_efficiency=0.25)
    assert divided["components"] == multiplied["components"]
    assert divided["components"][0]["twa_8h_ppm"] > found(air_changes_per_h=6)["components"][0]["twa_8h_ppm"]
    assert any("multiplied by K = 0.25 (NFPA 69)" in line for line in multiplied["footing"])


@pytest.mark.parametrize(("room_m3", "oxygen"), [(1, 20.9 * exp(-0.116)), (6, 20.5)])
def test_inert_gas_in_a_closed_cupboard_and_van_takes_the_place_of_oxygen(
    room_m3: float, oxygen: float
) -> None:
    """By hand: 20.9 exp(-Vg/V): 18.6 and 20.5 % vol."""
    result = found(room_m3=room_m3)
    assert result["oxygen_vol_pct_min"] == pytest.approx(oxygen, abs=0.01)
    assert any("19.5 % vol" in caution for caution in result["cautions"]) is (room_m3 == 1)
    assert any("van, a cupboard or a cab" in caution for caution in result["cautions"])


def test_the_caution_is_by_the_lower_oxygen_of_before_the_mixing() -> None:
    """By hand: 200 L in 3 m³: 20.9 x 0.9333 = 19.5067 unmixed; 205 L: 19.472 unmixed, 19.52 mixed."""
    hazardous = [
        any("19.5 % vol" in caution for caution in found(released_gas_l=litres, room_m3=3)["cautions"])
        for litres in (200, 205)
    ]
    assert hazardous == [False, True]
    assert any("18.6 % vol (18.5 before it mixes)" in c for c in found(room_m3=1)["cautions"])


def test_gas_that_is_all_balance_still_takes_the_place_of_oxygen() -> None:
    result = found(components=[], balance="argon", room_m3=1)
    assert result["components"] == []
    assert result["oxygen_vol_pct_min"] == pytest.approx(18.61, abs=0.01)


def test_a_balance_of_air_takes_nearly_no_oxygen() -> None:
    assert found(balance="air", room_m3=1)["oxygen_vol_pct_min"] == pytest.approx(20.9, abs=1e-3)


def test_oxygen_in_the_gas_counts() -> None:
    gas = [{"gas": "oxygen", "vol_pct": 18}, {"gas": "H2S", "ppm": 25}]
    result = found(components=gas, room_m3=1)
    assert result["oxygen_vol_pct_min"] == pytest.approx(20.9 - 2.9 * (1 - exp(-0.116)), abs=1e-6)
    assert result["components"][0]["peak_ppm"] == pytest.approx(209_000)


def test_gas_rich_in_oxygen_is_cautioned() -> None:
    result = found(components=[{"gas": "oxygen", "vol_pct": 100}], released_gas_l=500)
    assert result["oxygen_vol_pct_min"] == 20.9
    assert any("rises to 27.2 % vol" in caution for caution in result["cautions"])
    assert result["components"][0]["peak_ppm"] == pytest.approx(272_000, rel=1e-3)


def test_each_mean_is_held_against_its_own_limit_with_its_source() -> None:
    result = found(room_m3=1, air_changes_per_h=2, limits=[OWN | {"ceiling_ppm": 10}])
    (h2s,) = result["components"]
    assert h2s["peak_ratio"] == pytest.approx(h2s["peak_ppm"] / 10)
    assert h2s["twa_15min_ratio"] == pytest.approx(h2s["twa_15min_ppm"] / 5)
    assert h2s["twa_8h_ratio"] == pytest.approx(h2s["twa_8h_ppm"])
    assert h2s["limit_source"] == "TLV, ACGIH"
    # By hand: at once, 2 changes an hour: means of exp(-2t) over 0.25 h and 8 h.
    assert h2s["twa_15min_ppm"] / h2s["peak_ppm"] == pytest.approx((1 - exp(-0.5)) / 0.5)
    assert h2s["twa_8h_ppm"] / h2s["peak_ppm"] == pytest.approx((1 - exp(-16)) / 16)


def test_a_named_set_brings_its_limits_and_their_source() -> None:
    gas = [{"gas": "CO", "ppm": 5000}, {"gas": "H2S", "ppm": 25}, {"gas": "methane", "vol_pct": 2.5}]
    result = found(components=gas, limits="niosh-rel", room_m3=3, air_changes_per_h=1)
    co, h2s, methane = result["components"]
    # NIOSH Pocket Guide: CO 35 ppm, ceiling 200; H2S ceiling 10 (10 minutes).
    assert co["peak_ratio"] == pytest.approx(co["peak_ppm"] / 200)
    assert co["twa_8h_ratio"] == pytest.approx(co["twa_8h_ppm"] / 35)
    assert co["twa_15min_ratio"] is None
    assert h2s["peak_ratio"] == pytest.approx(h2s["peak_ppm"] / 10)
    assert "NIOSH Pocket Guide" in co["limit_source"]
    assert methane["limit_source"] is None
    assert any("No limit is known here for methane" in caution for caution in result["cautions"])
    assert any("Limits change" in caution for caution in result["cautions"])
    assert any("a ceiling is held against the peak" in line for line in result["footing"])


def test_every_named_set_can_be_asked_for() -> None:
    assert set(get_args(LimitSetName)) == set(SETS)


def test_what_is_immediately_dangerous_is_said() -> None:
    """NIOSH: 100 ppm of hydrogen sulfide. Here 5000 ppm, a twentieth of the air."""
    strong = [{"gas": "H2S", "ppm": 5000}]
    told = "H2S in the room reaches more than 100 ppm, which is immediately dangerous: NIOSH"
    assert any(caution.startswith(told) for caution in found(components=strong)["cautions"]) is False
    assert any(caution.startswith(told) for caution in found(components=strong, room_m3=2)["cautions"])


def test_without_limits_nothing_is_held_against_anything() -> None:
    (h2s,) = found()["components"]
    assert h2s["peak_ratio"] is h2s["twa_15min_ratio"] is h2s["twa_8h_ratio"] is h2s["limit_source"] is None


def test_a_limit_that_is_passed_is_said() -> None:
    result = found(room_m3=1, limits=[OWN])
    assert any(
        "hydrogen sulfide in the room passes a limit (TLV, ACGIH), 2.7 times" in c for c in result["cautions"]
    )


def test_the_person_near_the_release_has_more_than_the_room() -> None:
    zones = {"near_field_m3": 0.5, "interzonal_flow_m3_min": 1, "release_minutes": 10, "air_changes_per_h": 2}
    result = found(limits=[OWN], **zones)
    near, room = result["near_field"]["components"][0], result["components"][0]
    assert near["peak_ppm"] > room["peak_ppm"]
    assert near["twa_15min_ppm"] > room["twa_15min_ppm"]
    assert near["twa_15min_ratio"] == pytest.approx(near["twa_15min_ppm"] / 5)
    assert result["near_field"]["oxygen_vol_pct_min"] < result["oxygen_vol_pct_min"]
    assert any("Nicas" in line for line in result["footing"])
    assert found()["near_field"] is None


def test_the_course_over_time_holds_the_figures_of_the_answer() -> None:
    asked = VAN | {"near_field_m3": 0.5, "interzonal_flow_m3_min": 1, "release_minutes": 10}
    request = CALCULATION.read(asked)
    result = CALCULATION.solve(request)
    whole, near = courses(request)
    assert near is not None
    (h2s,) = request.components
    assert ppm_at(h2s, whole.share(10)) == pytest.approx(result.components[0].peak_ppm)
    assert result.near_field is not None
    assert ppm_at(h2s, near.share(10)) == pytest.approx(result.near_field.components[0].peak_ppm)
    assert courses(CALCULATION.read(VAN))[1] is None


def test_steady_state_near_the_release() -> None:
    """M. Nicas 1996 (from memory): G/Q + G/beta. Here 1 L/min of 25 ppm, Q 1 m³/min, beta 2 m³/min."""
    result = found(
        released_gas_l=400,
        room_m3=20,
        air_changes_per_h=3,
        release_minutes=400,
        near_field_m3=1,
        interzonal_flow_m3_min=2,
    )
    assert result["near_field"]["components"][0]["peak_ppm"] == pytest.approx(0.0375, rel=2e-3)
    assert result["components"][0]["peak_ppm"] == pytest.approx(0.025, rel=2e-3)


def test_flammable_gas_that_gathers_is_cautioned() -> None:
    """2.5 % vol of methane, a fifth of it in the air: 0.45 % vol, a tenth of 4.4 (IEC 60079-20-1:2010)."""
    components = [{"gas": "methane", "vol_pct": 2.5}]
    result = found(components=components, room_m3=0.5)
    assert any("reaches 12 % of its lower flammable limit" in c for c in result["cautions"])


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"components": [{"gas": "CO2", "vol_pct": 2.5}]}, "0.04 % vol of carbon dioxide"),
        ({"balance": "helium"}, "Helium rises"),
    ],
)
def test_what_must_be_heeded_is_said(changed: dict[str, Any], told: str) -> None:
    assert any(told in caution for caution in found(**changed)["cautions"])


def test_every_fault_of_single_fields_is_told_at_once() -> None:
    told = faults(
        released_gas_l=-5,
        components=[{"gas": "hydrogen sulfid", "ppm": -25}],
        balance="methane",
        room_m3=0,
        air_changes_per_h=-1,
        mixing_divisor=0.5,
        mixing_efficiency=3,
        limits=[OWN | {"gas": "H2X", "twa_8h_ppm": 0}],
    )
    assert [fault.partition(": ")[0] for fault in told] == [
        "room-release.released_gas_l = -5",
        "room-release.components[0].gas = 'hydrogen sulfid'",
        "room-release.components[0].ppm = -25",
        "room-release.balance = 'methane'",
        "room-release.room_m3 = 0",
        "room-release.air_changes_per_h = -1",
        "room-release.mixing_divisor = 0.5",
        "room-release.mixing_efficiency = 3",
        "room-release.limits[0].gas = 'H2X'",
        "room-release.limits[0].twa_8h_ppm = 0",
    ]
    assert "did you mean hydrogen sulfide" in told[1]


def test_every_fault_between_fields_is_told_at_once() -> None:
    named = "name it among the components, with nitrogen as the balance"
    one = "they are two ways to say the same, write one"
    assert faults(
        released_gas_l=9000,
        components=[{"gas": "CO", "vol_pct": 101}],
        balance="CO2",
        mixing_divisor=3,
        mixing_efficiency=0.3,
        near_field_m3=6,
        limits=[
            {"gas": "CO", "source": "own"},
            {"gas": "carbon monoxide", "twa_8h_ppm": 20, "source": "own"},
        ],
    ) == [
        "room-release.components = 101 % vol: more than 100 % in all; check the units",
        f"room-release.balance = 'CO2': has limits of its own; {named}",
        "room-release.released_gas_l = 9000.0: more gas than the room holds air (6 m3); check the units",
        f"room-release.mixing_efficiency = 0.3: stands beside mixing_divisor; {one}",
        "room-release.interzonal_flow_m3_min: missing; it belongs to near_field_m3",
        "room-release.near_field_m3 = 6.0: not smaller than the room (6 m3)",
        "room-release.limits[0] = 'CO': has no limit; write ceiling_ppm, twa_15min_ppm or twa_8h_ppm",
        "room-release.limits[1].gas = 'carbon monoxide': has limits already; write one line a gas",
    ]


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"components": ...}, "components: missing"),
        ({"room_m3": ...}, "room_m3: missing"),
        ({"interzonal_flow_m3_min": 2}, "near_field_m3: missing; it belongs to interzonal_flow_m3_min"),
        ({"room_ft3": 1000}, "no field of that name"),
        ({"limits": [{"gas": "CO", "twa_8h_ppm": 20}]}, "limits[0].source: missing"),
        ({"limits": [OWN | {"ppm": 20}]}, "limits[0].ppm: no field of that name; there are gas, ceiling_ppm"),
        ({"limits": "osha"}, "limits = 'osha': must be 'osha-pel', 'niosh-rel'"),
        ({"limits": 5}, "limits = 5: not a list"),
    ],
)
def test_what_cannot_be_answered_is_refused_with_the_field(changed: dict[str, Any], told: str) -> None:
    (fault,) = faults(**changed)
    assert told in fault


@given(
    st.floats(0.1, 500),
    st.floats(1, 500),
    st.floats(0, 20),
    st.one_of(st.just(0.0), st.floats(1, 600)),
    st.floats(0.1, 5000),
)
@settings(max_examples=40)
def test_the_figures_keep_their_order_and_grow_with_the_strength_of_the_gas(
    litres: float, room: float, changes: float, minutes: float, ppm: float
) -> None:
    one, two = (
        found(
            released_gas_l=litres,
            room_m3=room,
            air_changes_per_h=changes,
            release_minutes=minutes,
            components=[{"gas": "CO", "ppm": ppm * times}],
        )
        for times in (1, 2)
    )
    gas, double = one["components"][0], two["components"][0]
    assert gas["twa_8h_ppm"] <= gas["twa_15min_ppm"] * (1 + 1e-9) <= gas["peak_ppm"] * (1 + 2e-9)
    assert gas["peak_ppm"] < ppm
    assert double["twa_15min_ppm"] == pytest.approx(2 * gas["twa_15min_ppm"])
    assert 0 < one["oxygen_vol_pct_min"] < 20.9


@pytest.mark.parametrize("example", CALCULATION.examples, ids=lambda example: example.title)
def test_every_example_is_answered(example: Any) -> None:
    result = as_values(CALCULATION.answer(example.request))
    assert 15 < result["oxygen_vol_pct_min"] < 20.9
    assert all(component["peak_ppm"] > 0 for component in result["components"])
