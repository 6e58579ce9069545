"""Random histories: what careless, unlucky and late people write about two detectors and three cylinders.

``History`` writes through the real ledger and keeps the plain list of what was written, so that the gate
can be held against the literal reading (``tests.literal``) after every act. Its acts take small whole
numbers, so that a state machine can choose and shrink them, and a seeded generator can make very many.
"""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from typing import Any, Final

from pitbird.fleet.folding import fold
from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import DAY, HOUR, MINUTE, Ms, ms_of, text_of
from pitbird.rules.decision import Verdict
from pitbird.rules.loading import document_of, load_shipped
from pitbird.services.appending import IdTaken, append
from pitbird.services.correcting import CorrectionIncomplete, touched_by
from pitbird.services.gate import gate_one
from pitbird.services.knowing import Now
from tests.bodies import CHANNELS, body, bump
from tests.literal import Reading, moment

DETECTORS: Final = ("detector:D-1", "detector:D-2")
CYLINDERS: Final = ("cylinder:C-1", "cylinder:C-2", "cylinder:C-expired")
PEOPLE: Final = ("person:trained", "person:untrained", "person:other")
SITE: Final = "site:north-works"
START: Final = ms_of("2026-03-02T06:00:00.000Z")
#: How far off a clock may be: not at all, late to arrive by hours, or ahead.
OFFSETS: Final = (0, 0, 0, -30 * MINUTE, -5 * HOUR, -26 * HOUR, 1 * MINUTE, 40 * MINUTE, 30 * HOUR)


class History:
    """One book as it grows, and the clock of the one who writes it down."""

    def __init__(self) -> None:
        self.now: Ms = START
        self.written: list[tuple[int, dict[str, Any], str]] = []
        self.decisions = 0
        rules = document_of(load_shipped("strict"))
        early = Ms(START - 40 * DAY)
        every = [{"channel": c["name"], "applied": "20", "result": "within"} for c in CHANNELS]
        for made in (
            body("genesis", by=PEOPLE[0]),
            body("site", site=SITE),
            body("rules-adopted", sites=[SITE], document=rules, effective=text_of(early)),
            *(body("person", person=person) for person in PEOPLE),
            body("training", person=PEOPLE[0]),
            *(
                body("cylinder", cylinder=c, expires="2026-02-01" if "exp" in c else "2027-10-06")
                for c in CYLINDERS
            ),
            *(body("cylinder-opened", cylinder=c, gauge_bar="60") for c in CYLINDERS),
            *(body("detector", detector=d, channels=CHANNELS) for d in DETECTORS),
            *(body("calibration", detector=d, cylinders=None, channels=every) for d in DETECTORS),
        ):
            self._write(made, Ms(early + len(self.written) * MINUTE))

    def _write(self, made: dict[str, Any], at: Ms | None = None) -> dict[str, Any]:
        """Append a body; ``at`` sets both its time and when it is recorded."""
        recorded = self.now if at is None else at
        if at is not None:
            made["at"] = text_of(at)
        appended = append(made, recorded_at=recorded)
        if not appended.again:
            self.written.append((appended.index, made, text_of(recorded)))
        return made

    def _when(self, offset: int) -> str:
        return text_of(Ms(self.now + OFFSETS[offset % len(OFFSETS)]))

    def _phone(self, offset: int) -> dict[str, Any]:
        """What a phone knew of its clock: now and then that it was hours behind, or a day."""
        behind = {11: "-7200", 12: "-14400", 13: "-90000"}.get(offset % 40)
        if behind is None:
            return {}
        told = {"device": "device:PH-1", "known_by": "pin", "contact": text_of(START), "ahead_s": behind}
        return {"phone": told}

    def wait(self, steps: int) -> None:
        """Time goes on: minutes, hours, a night."""
        self.now = Ms(self.now + (3 * MINUTE, 20 * MINUTE, 2 * HOUR, 9 * HOUR)[steps % 4])

    def test(self, detector: int, cylinder: int, person: int, offset: int, flaw: int) -> None:
        """A bump test, whole or with something wrong in it."""
        made = bump(
            self._when(offset),
            detector=DETECTORS[detector % 2],
            by=PEOPLE[person % 3] if flaw == 1 else PEOPLE[0],
            missed="CO" if flaw == 2 else None,
            temperature_c="-9" if flaw == 3 else "12",
        )
        gas = CYLINDERS[cylinder % 3] if flaw in (4, 2) else CYLINDERS[cylinder % 2]
        made["applications"][0]["cylinder"] = gas
        made["about"] = [made["detector"], gas]
        if flaw == 5:
            made |= {"outcome": "spoiled", "spoiled_because": "hood-slipped"}
        elif flaw == 6:
            made["signals"].pop("vibration")
        elif flaw == 7:
            made["footing"] = "reported"
        elif flaw == 8:
            made["applications"][0]["gauge_bar"] = "1"
        elif flaw == 9:
            made["clean_air"][1]["reading"] = "19.9"
        self._write({**made, **self._phone(offset)})

    def happens(self, detector: int, what: int, offset: int) -> None:
        """Something happens to a detector."""
        kinds: tuple[dict[str, Any], ...] = (
            {"kind": "happened", "what": "drop"},
            {"kind": "happened", "what": "sensor-changed"},
            {"kind": "fresh-air-set"},
            {"kind": "repaired"},
            {"kind": "out-of-service"},
            {"kind": "alarm-in-use", "channel": "CO"},
            {"kind": "handed-back"},
            {"kind": "handed-out", "from_store": True},
            {"kind": "handed-out", "from_store": False, "to": "person:other"},
            {"kind": "issued-untested", "until": text_of(Ms(self.now + 4 * DAY))},
        )
        fields = dict(kinds[what % len(kinds)])
        kind = fields.pop("kind")
        made = body(kind, self._when(offset), detector=DETECTORS[detector % 2], **fields)
        self._write({**made, **self._phone(offset)})

    def calibrate(self, detector: int, result: int, offset: int) -> None:
        """A calibration: of every channel, of some, or failed."""
        channels = [{"channel": c["name"], "applied": "20", "result": "within"} for c in CHANNELS]
        fields: dict[str, Any] = {"channels": channels[: 2 if result % 3 == 1 else 4], "result": "passed"}
        if result % 3 == 2:
            fields = {"channels": [{**channels[0], "result": "outside"}], "result": "failed"}
        made = body(
            "calibration", self._when(offset), detector=DETECTORS[detector % 2], cylinders=None, **fields
        )
        self._write({**made, **self._phone(offset)})

    def returns(self, detector: int, how: int, offset: int) -> None:
        """A return to service: naming every open reason, only the newest, or one that is none."""
        state = Now().state(DETECTORS[detector % 2])
        assert isinstance(state, DetectorState)
        reasons = [reason.entry for reason in state.open_reasons]
        answers = {0: reasons, 1: reasons[:1]}.get(how % 3) or [self.written[0][1]["id"]]
        made = body(
            "returned-to-service", self._when(offset), detector=state.subject, answers=answers, tested=None
        )
        self._write(made)

    def doubts_gas(self, cylinder: int, how: int, offset: int) -> None:
        """A cylinder is read, quarantined (perhaps since earlier), released or emptied."""
        gas, when = CYLINDERS[cylinder % 3], self._when(offset)
        asked = [
            b["id"] for _, b, _ in self.written if gas in b["about"] and b["kind"] == "cylinder-quarantined"
        ]
        asked += [b["id"] for _, b, _ in self.written if gas in b["about"] and b.get("outcome") == "failed"]
        if how % 5 == 0:
            self._write(body("gauge-read", when, cylinder=gas, gauge_bar="1" if offset % 2 else "50"))
        elif how % 5 == 1:
            self._write(body("cylinder-quarantined", when, cylinder=gas))
        elif how % 5 == 2:
            since = text_of(Ms(self.now - 3 * HOUR))
            self._write(body("cylinder-quarantined", when, cylinder=gas, since=since))
        elif how % 5 == 3 and asked:
            self._write(body("cylinder-released", when, cylinder=gas, answers=asked[-2:]))
        elif how % 5 == 4 and offset % 4 == 0:
            self._write(body("cylinder-emptied", when, cylinder=gas))

    def trains(self, person: int, result: int) -> None:
        """Somebody is trained, with success or not."""
        outcome = "failed" if result % 3 == 0 else "passed"
        self._write(body("training", self._when(0), person=PEOPLE[person % 3], result=outcome))

    def corrects(self, which: int, how: int, minutes: int) -> None:
        """An entry is voided, moved in time, moved to the other detector, or put as it was, by the one who
        wrote it or by another."""
        able = [b for _, b, _ in self.written if b["kind"] not in {"genesis", "correction", "erasure"}][13:]
        if not able:
            return
        if which % 3 == 0:  # those whose clock cannot be right are what people correct most
            recorded = {b["id"]: ms_of(r) for _, b, r in self.written}
            able = [b for b in able if ms_of(b["at"]) > recorded[b["id"]] + 2 * MINUTE] or able
        original = able[which % len(able)]
        touched = touched_by(original["id"])
        fields: dict[str, Any] = {"corrects": original["id"], "of_about": touched}
        if len(touched) > len(original["about"]):
            self._refuses(body("correction", **{**fields, "of_about": original["about"]}, how="void"))
        if how % 4 == 0:
            self._write(body("correction", self._when(0), how="void", **fields))
            return
        changed, fields["by"] = {**original}, (original["by"], PEOPLE[2])[minutes % 2]
        if how % 4 == 1:
            changed["at"] = text_of(Ms(ms_of(original["at"]) + (minutes % 400 - 200) * MINUTE))
        elif how % 4 == 2 and original.get("detector") in DETECTORS:
            other = DETECTORS[1 - DETECTORS.index(original["detector"])]
            changed["about"] = [other if s == original["detector"] else s for s in original["about"]]
            changed["detector"] = other
        self._write(body("correction", self._when(0), how="replace", replacement=changed, **fields))

    def _refuses(self, made: dict[str, Any]) -> None:
        """A correction that keeps something from what the entry once touched is not taken."""
        try:
            append(made, recorded_at=self.now)
        except CorrectionIncomplete:
            return
        raise AssertionError("a correction was taken that does not tell everything the entry touched")

    def sends_again(self, which: int) -> None:
        """A phone sends the same entry once more; then another one under the same id, which is refused."""
        _, made, _ = self.written[which % len(self.written)]
        size = len(self.written)
        self._write(made)
        assert len(self.written) == size
        try:
            append({**made, "zone": "Atlantic/Azores"}, recorded_at=self.now)
        except IdTaken:
            return
        raise AssertionError("the same id was taken twice")

    def erases(self) -> None:
        """A name is erased; no answer may hang on it."""
        self._write(body("erasure", self._when(0), subject=PEOPLE[1]))

    def check(self) -> None:
        """States are what folding anew gives; the gate says yes where, and only where, the rules allow it."""
        for subject in (*DETECTORS, *CYLINDERS):
            assert Now().state(subject) == fold(subject, self.written), f"{subject} differs from folding anew"
        reading = Reading(self.written, moment(text_of(self.now)))
        for detector in DETECTORS:
            decision = gate_one(detector, now=self.now).decision
            troubles = list(reading.troubles(detector))
            self.decisions += 1
            gate = f"{decision.verdict} {decision.decisive}"
            told = f"{detector} at {text_of(self.now)}: gate {gate}; rules {troubles}"
            gate_yes = decision.verdict is Verdict.MAY_GO_OUT
            assert not (gate_yes and troubles), told
            # A clock may run ahead by two minutes; of facts that have not come yet only the gate knows.
            ahead = any(ms_of(b["at"]) > self.now for _, b, _ in self.written)
            assert ahead or gate_yes != bool(troubles), told


Act = tuple[str, tuple[int, ...]]
ACTS: Final[dict[str, int]] = {
    "wait": 1, "test": 5, "happens": 3, "calibrate": 3, "returns": 3, "doubts_gas": 3, "trains": 2,
    "corrects": 3, "sends_again": 1, "erases": 0,
}  # fmt: skip
#: Tests and returns are what a yes is made of, so they come more often.
WEIGHTS: Final = (4, 9, 3, 2, 4, 2, 1, 3, 1, 1)


def random_act(random: Random) -> Act:
    """One act with its numbers; most tests are without a flaw."""
    (name,) = random.choices(list(ACTS), WEIGHTS)
    numbers = [random.randrange(1000) for _ in range(ACTS[name])]
    if name == "test":
        numbers[4] = random.choice((0, 0, 0, 0, 0, 0, 1, 2, 2, 3, 4, 5, 6, 7, 8, 9))
    return name, tuple(numbers)


def run(acts: list[Act], *, each: Callable[[History], None] = History.check) -> History:
    """Live a history, checking after every act."""
    history = History()
    for name, numbers in acts:
        getattr(history, name)(*numbers)
        each(history)
    return history
