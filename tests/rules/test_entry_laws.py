"""Laws of the decision on entries: whatever is written against a detector, or taken from what speaks for it,
never turns a no into a yes, however much of it there is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from hypothesis import assume, given
from hypothesis import strategies as st

from pitbird.fleet.folding import fold
from pitbird.fleet.state import CylinderState, DetectorState, PersonState
from pitbird.fleet.times import HOUR, MINUTE, Ms, ms_of, text_of
from pitbird.rules.deciding import decide
from pitbird.rules.decision import Decision, Surroundings, Verdict
from pitbird.rules.loading import load_shipped, shipped
from tests.bodies import CHANNELS, body, bump, detector

Body = dict[str, Any]
Entry = tuple[Body, Ms]  # and when it was recorded

YES: Final = Verdict.MAY_GO_OUT
D: Final = "detector:D-017"
GAS: Final = ("cylinder:C-112", "cylinder:C-113")
TESTER: Final = "person:P-07"
START: Final = ms_of("2026-03-02T04:00:00.000Z")
END: Final = Ms(START + 12 * HOUR)
BEFORE: Final = "2026-03-01T10:00:00.000Z"


def _strange(when: str, subject: str, kind: str = "eclipse") -> Body:
    """An entry of a kind that is not known here."""
    return {**body("note", when), "about": [subject], "kind": kind}


def _calibrated(when: str, result: str = "passed") -> Body:
    fit = "within" if result == "passed" else "outside"
    channels = [{"channel": c["name"], "applied": "20", "result": fit} for c in CHANNELS]
    return body("calibration", when, detector=D, cylinders=None, channels=channels, result=result)


def _beginning() -> list[Entry]:
    made = [
        detector(BEFORE, detector=D),
        *(body("cylinder", BEFORE, cylinder=gas) for gas in GAS),
        *(body("cylinder-opened", BEFORE, cylinder=gas, gauge_bar="60") for gas in GAS),
        body("person", BEFORE, person=TESTER),
        body("training", BEFORE, person=TESTER),
        _calibrated(BEFORE),
    ]
    return [(each, ms_of(BEFORE)) for each in made]


def _tested(when: str, gas: str, missed: str | None = None, **fields: Any) -> Body:
    made = bump(when, detector=D, by=TESTER, missed=missed, temperature_c="12", **fields)
    made["applications"][0]["cylinder"] = gas
    made["about"] = [D, gas]
    return made


def _by_another(made: Body) -> Body:
    """The same on another detector, of which only the gas is left to ask."""
    return {**made, "detector": "detector:D-099", "about": ["detector:D-099", made["about"][1]]}


def _spoiled(when: str, gas: str) -> Body:
    return _tested(when, gas, outcome="spoiled", spoiled_because="hood-slipped")


ACTS: Final[dict[str, Callable[[str, str], Body]]] = {
    "pass": _tested,
    "another pass": _tested,
    "spoiled": _spoiled,
    "failed": lambda when, gas: _tested(when, gas, missed="CO"),
    "drop": lambda when, gas: body("happened", when, detector=D, what="drop"),
    "calibrated": lambda when, gas: _calibrated(when),
    "repaired": lambda when, gas: body("repaired", when, detector=D),
    "handed out": lambda when, gas: body("handed-out", when, detector=D, from_store=True),
    "handed back": lambda when, gas: body("handed-back", when, detector=D),
    "quarantined": lambda when, gas: body("cylinder-quarantined", when, cylinder=gas),
}

AGAINST: Final[dict[str, Callable[[str, str], Body]]] = {
    "failed": lambda when, gas: _tested(when, gas, missed="H2S"),
    "another failed": lambda when, gas: _by_another(_tested(when, gas, missed="CO")),
    "failed quietly": lambda when, gas: {**_tested(when, gas, missed="H2S"), "outcome": "passed"},
    "spoiled": _spoiled,
    "failed calibration": lambda when, gas: _calibrated(when, "failed"),
    "drop": lambda when, gas: body("happened", when, detector=D, what="drop"),
    "poison": lambda when, gas: body("happened", when, detector=D, what="suspected-poison"),
    "sensor": lambda when, gas: body("happened", when, detector=D, what="sensor-changed"),
    "zero": lambda when, gas: body("fresh-air-set", when, detector=D),
    "alarm": lambda when, gas: body("alarm-in-use", when, detector=D, channel="CO"),
    "out": lambda when, gas: body("out-of-service", when, detector=D),
    "held": lambda when, gas: body("out-of-service", when, detector=D, because="incident"),
    "untested issue": lambda when, gas: body("issued-untested", text_of(END), detector=D, until=text_of(
        Ms(END + HOUR)
    )),
    "quarantined": lambda when, gas: body("cylinder-quarantined", when, cylinder=gas),
    "quarantined since": lambda when, gas: body(
        "cylinder-quarantined", text_of(END), cylinder=gas, since=when
    ),
    "emptied": lambda when, gas: body("cylinder-emptied", when, cylinder=gas),
    "low": lambda when, gas: body("gauge-read", when, cylinder=gas, gauge_bar="0.5"),
    "untrained": lambda when, gas: body("training", when, person=TESTER, result="failed"),
    "strange of detector": lambda when, gas: _strange(when, D),
    "strange of gas": lambda when, gas: _strange(when, gas),
    "strange of person": lambda when, gas: _strange(when, TESTER),
}  # fmt: skip


@st.composite
def lives(draw: st.DrawFn) -> list[Entry]:
    """A morning of one detector, written down in the order in which it happened."""
    life = _beginning()
    names = draw(st.lists(st.sampled_from(list(ACTS)), min_size=1, max_size=9))
    at = START
    for name in names:
        at = Ms(at + draw(st.sampled_from((0, 3, 20, 90))) * MINUTE)
        life.append((ACTS[name](text_of(at), draw(st.sampled_from(GAS))), at))
        if draw(st.integers(0, 3)) == 0:
            continue
        open_now = _states(life)[0].open_reasons
        if open_now:
            at = Ms(at + MINUTE)
            answers = [reason.entry for reason in open_now]
            back = body("returned-to-service", text_of(at), detector=D, answers=answers, tested=None)
            life.append((back, at))
    assume(at < END)
    return life


def _states(life: list[Entry]) -> tuple[DetectorState, list[CylinderState], PersonState]:
    def state(subject: str) -> Any:
        about = [
            (index, made, text_of(recorded))
            for index, (made, recorded) in enumerate(life)
            if subject in made["about"]
        ]
        return fold(subject, about)

    return state(D), [state(gas) for gas in GAS], state(TESTER)


def _decide(life: list[Entry], rules: str, as_of: Ms = END) -> Decision:
    detector_state, cylinders, tester = _states(life)
    surroundings = Surroundings(
        site="site:north-works",
        zone="Europe/Lisbon",
        change_overs=("04:00",),
        rules_over_time=((ms_of("2026-01-01T00:00:00.000Z"), load_shipped(rules)),),
        cylinders={gas.subject: gas for gas in cylinders},
        people={TESTER: tester},
    )
    return decide(detector_state, surroundings, as_of=as_of)


RULES = st.sampled_from(shipped())
#: Once, twice, and more often than any list in a state is long.
TIMES = st.sampled_from((1, 1, 1, 2, 40, 70))
MINUTES = st.integers(-60, 12 * 60)
LATE = st.sampled_from((0, 0, 5, 300))
AHEAD = st.sampled_from((0, 0, 0, 1, 40))


@st.composite
def calm(draw: st.DrawFn) -> list[Entry]:
    """A morning that ends in a yes under every shipped set."""
    life = [*_beginning(), (_calibrated(text_of(START)), START)]
    names = draw(st.lists(st.sampled_from(["pass", "repaired", "drop", "calibrated"]), max_size=4))
    at = START
    for name in (*names, "pass"):
        at = Ms(at + draw(st.sampled_from((1, 20, 90))) * MINUTE)
        life.append((ACTS[name](text_of(at), draw(st.sampled_from(GAS))), at))
    return life


@st.composite
def against(draw: st.DrawFn, what: str | None = None) -> list[Entry]:
    """Something against the detector: late, from a clock that runs ahead, or so often that older facts fall
    out of the state."""
    what = what or draw(st.sampled_from(list(AGAINST)))
    gas, times = draw(st.sampled_from(GAS)), draw(TIMES)
    minutes = draw(MINUTES)
    recorded = min(Ms(START + (minutes + draw(LATE)) * MINUTE), END)
    said = Ms(min(START + minutes * MINUTE, recorded) + draw(AHEAD) * MINUTE)
    return [(AGAINST[what](text_of(said), gas), recorded) for _ in range(times)]


#: Twice something against it, half the time twice the same.
PAIRS = st.one_of(
    st.tuples(against(), against()),
    st.sampled_from(list(AGAINST)).flatmap(lambda what: st.tuples(against(what), against(what))),
)


@given(st.one_of(calm(), lives()), RULES, PAIRS)
def test_no_entry_against_a_detector_turns_a_no_into_a_yes(
    life: list[Entry], rules: str, pair: tuple[list[Entry], list[Entry]]
) -> None:
    """Whatever stands against it already, more of the same or of something else does not help."""
    first, second = pair
    verdicts = [_decide(each, rules).verdict for each in (life, [*life, *first], [*life, *first, *second])]
    assert sorted(verdicts, key=lambda verdict: verdict is not YES) == verdicts


@given(calm(), RULES)
def test_a_calm_morning_ends_in_a_yes(life: list[Entry], rules: str) -> None:
    """Laws about a no say nothing if there is nothing else."""
    assert _decide(life, rules).verdict is YES


@given(st.one_of(calm(), lives()), RULES, against(), st.data())
def test_a_pass_that_is_voided_turns_no_no_into_a_yes(
    life: list[Entry], rules: str, more: list[Entry], data: st.DataObject
) -> None:
    passes = [made for made, _ in life if made.get("outcome") == "passed"]
    life = [*life, *more]
    assume(passes and _decide(life, rules).verdict is not YES)
    made = data.draw(st.sampled_from(passes))
    void = body(
        "correction", text_of(END), corrects=made["id"], of_about=made["about"], how="void", replacement=None
    )
    assert _decide([*life, (void, END)], rules).verdict is not YES


@given(lives(), RULES, MINUTES)
def test_notes_and_erased_names_change_nothing(life: list[Entry], rules: str, minutes: int) -> None:
    before = _decide(life, rules)
    when = text_of(Ms(START + minutes * MINUTE))
    silent = [
        *(_strange(when, subject, "note") for subject in (D, *GAS, TESTER)),
        *(body("erasure", when, subject=subject) for subject in (TESTER, D, GAS[0])),
    ]
    after = _decide([*life, *((made, END) for made in silent)], rules)
    assert after == before


def test_a_failure_on_the_gas_of_an_earlier_pass_does_not_make_that_pass_better() -> None:
    """Two failures in a row on the gas ask about it from the second on: the pass before them stands."""
    life = _beginning()
    for minute, missed in ((0, None), (10, "CO"), (20, "CO")):
        at = Ms(START + minute * MINUTE)
        life.append((_tested(text_of(at), GAS[0], missed), at))
    assert _decide(life[:-2], "strict").verdict is YES
    assert _decide(life, "strict").verdict is Verdict.OUT_OF_SERVICE
    reasons = [reason.entry for reason in _states(life)[0].open_reasons]
    again = [
        body("repaired", text_of(Ms(START + 30 * MINUTE)), detector=D),
        body(
            "returned-to-service", text_of(Ms(START + 40 * MINUTE)), detector=D, answers=reasons, tested=None
        ),
    ]
    mended = [*life, *((made, ms_of(made["at"])) for made in again)]
    for gas, verdict in ((GAS[0], Verdict.NOT_YET), (GAS[1], YES)):
        at = Ms(START + 50 * MINUTE)
        assert _decide([*mended, (_tested(text_of(at), gas), at)], "strict").verdict is verdict
