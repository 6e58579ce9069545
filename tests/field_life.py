"""Random lives of a fleet with phones in the field: what is lost on the way, sent twice, sent late, out of
order, by phones that ended, with clocks that are wrong, about detectors that were taken out meanwhile.

``FieldLife`` drives the real API of phones over the test client and the keeper's services, and keeps beside
them what every phone holds. ``reckon`` then asks of every act of every phone what became of it, and of every
detector what the slow literal reading (``tests.literal``) of the book says.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from random import Random
from typing import Any, Final
from unittest import mock

from django.contrib.auth.models import User
from django.test import Client

from pitbird.fleet.times import DAY, HOUR, MINUTE, Ms, local, ms_of, text_of
from pitbird.intake.faults import EntryRefused
from pitbird.record.leaf import read_leaf
from pitbird.rules.decision import Verdict
from pitbird.services import clock, phones, waiting
from pitbird.services import field as receiving
from pitbird.services.appending import append
from pitbird.services.correcting import CorrectionRefused
from pitbird.services.gate import gate_one
from pitbird.services.knowing import Now
from pitbird.services.refolding import refold_in_full
from pitbird.services.writing import Actor, write
from pitbird.store import book
from pitbird.store.models import Login, Waiting
from tests.bodies import CHANNELS
from tests.literal import Reading, facts_of, moment
from tests.phone import FieldPhone
from tests.web.conftest import KEEPER, NOON, SITE, TESTER, detector, passed

ZONE: Final = "Europe/Lisbon"
BOSS: Final = Actor(KEEPER, SITE, ZONE)
SECOND: Final = Actor("person:K-2", SITE, ZONE)
CODES: Final = ("D-017", "D-018", "D-019")
#: How far the clocks of phones are off, in minutes; some jump in the middle.
OFF: Final = (0, 0, 0, 0, 0, 0, 0, 0, -1440, -3, 1.5, 1.5, 40, 1440)
#: As many as a phone of these lives sends at once; the page sends a hundred.
MOST: Final = 4
FINAL: Final = frozenset({"written", "already", "waiting", "settled"})
FATES: Final = ("written", "not-counted", "waiting", "written-otherwise", "set-aside", "refused")


@dataclass
class Act:
    """One entry as a phone keeps it until it was answered, with what is needed to look for it."""

    text: str
    body: dict[str, Any]
    state: str = "unsent"
    answer: dict[str, Any] = field(default_factory=dict)
    answers: list[str] = field(default_factory=list)
    arrived: bool = False

    @property
    def entry_id(self) -> str:
        """By this the server answers it."""
        return str(self.body["id"])


@dataclass
class Handset:
    """A phone in the field: its key, its cookies, its clock, and the entries that it keeps."""

    phone: FieldPhone
    client: Client
    off: float
    paired: bool = False
    contact: dict[str, str] = field(default_factory=dict)
    acts: list[Act] = field(default_factory=list)

    def unsent(self) -> list[Act]:
        """What was not answered yet, in the order in which it was made."""
        return [act for act in self.acts if act.state == "unsent"]


class FieldLife:
    """One life: three phones, three detectors, a keeper with a deputy; everything follows from the seed."""

    def __init__(self, seed: int) -> None:
        self.dice = Random(seed)
        self.now: Ms = NOON
        self.breaks_in = 0
        self.strays: list[tuple[Handset, list[Act]]] = []
        self.own: set[str] = set()
        self.compared = 0
        self.before = book.head().size
        self.handsets = [self._handset(n) for n in range(3)]

    def _handset(self, number: int) -> Handset:
        phone = FieldPhone(f"device:PH-{number}", "ES256" if number == 1 else "Ed25519")
        made = Handset(phone, Client(), self.dice.choice(OFF))
        if self.dice.random() < 0.5:
            made.client.force_login(User.objects.get(username="rui"))
        if self.dice.random() < 0.85:
            self._pair(made)
        return made

    # --- What phones do

    def phone_writes(self) -> None:
        """Somebody in the field writes something on one of the phones."""
        on = self.dice.choice(self.handsets)
        at = Ms(int(self.now + on.off * MINUTE))
        draft = self._draft(at)
        body = {
            **draft, "id": self._id(at), "zone": ZONE, "where": SITE,
            "by": self.dice.choice((*[TESTER] * 12, KEEPER, SECOND.person)),
            "phone": {"device": on.phone.device, "known_by": "pin", **on.contact},
        }  # fmt: skip
        if "at" not in body:
            body["at"] = text_of(at)
        texts = {"note": "the clip is loose"} if self.dice.random() < 0.1 else {}
        item = on.phone.item(body, **texts)
        on.acts.append(self._damaged(on, item))

    def _id(self, at: int) -> str:
        """An id of version 7 that follows from the seed (RFC 9562, section 5.7)."""
        value = at << 80 | 7 << 76 | self.dice.getrandbits(12) << 64 | 2 << 62 | self.dice.getrandbits(62)
        digits = f"{value:032x}"
        return "-".join((digits[:8], digits[8:12], digits[12:16], digits[16:20], digits[20:]))

    def _draft(self, at: Ms) -> dict[str, Any]:
        code = self.dice.choice((*CODES, *CODES, *CODES, "D-404"))
        chance = self.dice.random()
        if chance < 0.75:
            return self._test(code, at)
        about = {"detector": f"detector:{code}"}
        return self.dice.choice(
            (
                {"kind": "happened", **about, "what": "drop"},
                {"kind": "happened", **about, "what": "water"},
                {"kind": "fresh-air-set", **about, "air": "outdoors"},
                {"kind": "out-of-service", **about, "because": "damaged"},
                {"kind": "handed-out", **about, "to": TESTER, "from_store": True},
                {"kind": "handed-back", **about, "back_from": TESTER},
                {"kind": "gauge-read", "cylinder": "cylinder:C-112", "gauge_bar": "40"},
                {"kind": "alarm-in-use", **about, "channel": "H2S", "peak": "14"},
                {"kind": "calibration", **about, "cylinders": ["cylinder:C-112"], "result": "passed",
                 "channels": [{"channel": c["name"], "applied": "20", "result": "within"} for c in CHANNELS]},
            )
        )  # fmt: skip

    def _test(self, code: str, at: Ms) -> dict[str, Any]:
        chance = self.dice.random()
        if chance < 0.7:
            return passed(code, at)
        if chance < 0.76:
            return passed(code, at, outcome="failed", missed="H2S")
        if chance < 0.81:
            return {**passed(code, at, outcome="spoiled"), "spoiled_because": "hood-slipped"}
        if chance < 0.84:
            return passed(code, at, missed="CO")  # it says passed, and its facts do not
        if chance < 0.9:
            return {**passed(code, at), "temperature_c": "-9"}
        return {**passed(code, at), "signals": {"sound": "yes", "light": "yes"}}

    def _damaged(self, on: Handset, item: dict[str, Any]) -> Act:
        """The entry as it travels; one in eight has something wrong with it that no keeper foresaw."""
        chance, body = self.dice.random(), item["body"]
        if chance < 0.02:
            item["signature"]["sig"] = on.phone.sign({"another": "text"})["sig"]
        elif chance < 0.04 and "footing" in body:
            del body["footing"]
            item["signature"] = on.phone.sign(body)
        elif chance < 0.06:
            body["phone"]["device"] = self.dice.choice(("device:PH-0", "device:PH-1", "device:PH-77"))
            item["signature"] = on.phone.sign(body)
        elif chance < 0.08:
            earlier = [act for each in self.handsets for act in each.acts if each is not on]
            if earlier:
                body["id"] = self.dice.choice(earlier).entry_id
                item["signature"] = on.phone.sign(body)
        elif chance < 0.1:
            text = json.dumps(item).replace('"body": {', '"body": {"zone": "UTC", ', 1)
            return Act(text, body)
        elif chance < 0.105:
            item["texts"] = {"note": {"salt": "AA", "text": "x" * 2_000_001}}
        return Act(json.dumps(item), body)

    def phone_sends(self) -> None:
        """One of the phones finds a network, of a sort."""
        self.send(self.dice.choice(self.handsets))

    def send(self, on: Handset, *, surely: bool = False) -> None:
        """All that was not answered, in batches; what was not answered by anything final is kept."""
        size = MOST
        while batch := on.unsent()[:size]:
            said = self._deliver(on, batch) if surely else self._through_the_air(on, batch)
            if said is None or said.status_code == 401:
                return
            if said.status_code in (413, 422):
                if len(batch) == 1:
                    batch[0].state = "refused"
                size = max(1, len(batch) // 2)
                continue
            assert said.status_code == 200, said.content
            if self._heard(on, batch, said.json()):
                return

    def _heard(self, on: Handset, batch: list[Act], told: dict[str, Any]) -> bool:
        """What a phone does with an answer; whether it stopped before the end."""
        ahead = (self.now + on.off * MINUTE - ms_of(told["server_time"])) / 1000
        on.contact = {"contact": told["server_time"], "ahead_s": f"{ahead:.1f}".removesuffix(".0")}
        assert [each["id"] for each in told["entries"]] == [act.entry_id for act in batch]
        for act, answer in zip(batch, told["entries"], strict=True):
            act.answers.append(answer["status"])
            if answer["status"] in FINAL:
                act.state, act.answer = "answered", answer
        for row in told["detectors"]:
            if row["verdict"] == "may-go-out":
                found = self.troubles(f"detector:{row['code']}")
                assert found == [], f"{row} at {text_of(self.now)}: rules {found}"
        return any(act.state == "unsent" for act in batch)

    def _through_the_air(self, on: Handset, batch: list[Act]) -> Any:
        """The request may be lost, come late, or come twice; the answer may be lost."""
        chance = self.dice.random()
        if chance < 0.1:
            return None
        if chance < 0.2:
            self.strays.append((on, batch))
            return None
        if chance < 0.3:
            self._deliver(on, batch)
        said = self._deliver(on, batch)
        return None if chance > 0.85 else said

    def _deliver(self, on: Handset, batch: list[Act]) -> Any:
        self.breaks_in = self.dice.randrange(1, 5) if self.dice.random() < 0.05 else 0
        data = '{"entries":[' + ",".join(act.text for act in batch) + "]}"
        said = on.client.post("/api/field/entries", data, content_type="application/json")
        self.breaks_in = 0
        if said.status_code == 200:
            for act, answer in zip(batch, said.json()["entries"], strict=True):
                act.arrived |= answer["status"] in FINAL
        return said

    def stray_arrives(self) -> None:
        """A request that nobody waits for any more reaches the server after all."""
        if self.strays:
            on, batch = self.strays.pop(self.dice.randrange(len(self.strays)))
            self._deliver(on, batch)

    def clock_jumps(self) -> None:
        """Somebody sets the clock of a phone, right or wrong."""
        self.dice.choice(self.handsets).off = self.dice.choice(OFF)

    # --- What happens meanwhile

    def wait(self) -> None:
        """Time goes on: minutes, hours, a night."""
        steps = (3 * MINUTE, 10 * MINUTE, 10 * MINUTE, 40 * MINUTE, 2 * HOUR, 15 * HOUR)
        self.now = Ms(self.now + self.dice.choice(steps))

    def _pair(self, on: Handset) -> None:
        if on.paired:
            return
        secret, _until = phones.pair(on.phone.device, BOSS, now=self.now)
        body = {"pairing": secret}
        item = {"body": body, "signature": on.phone.sign(body)}
        said = on.client.post("/api/field/pair", json.dumps(item), content_type="application/json")
        assert said.status_code == 201, said.content
        on.paired = True
        if self.dice.random() < 0.9:
            phones.note_known(on.phone.device, TESTER, "pin", self.now)
        if self.dice.random() < 0.5:
            phones.note_known(on.phone.device, KEEPER, "pin", self.now)

    def pairs(self) -> None:
        """The keeper registers a phone, or somebody is let in on one."""
        on = self.dice.choice(self.handsets)
        self._pair(on)
        phones.note_known(on.phone.device, self.dice.choice((TESTER, KEEPER)), "pin", self.now)

    def ends(self) -> None:
        """The keeper ends a phone: it was lost, or is thought to be."""
        on = self.dice.choice(self.handsets)
        if on.paired and self.dice.random() < 0.4:
            phones.end(on.phone.device, "lost", BOSS, now=self.now)

    def _keeper_writes(self, draft: dict[str, Any], by: Actor = BOSS) -> None:
        """Write at the desk; what the book does not take is not written, and nothing hangs on it."""
        with suppress(EntryRefused, CorrectionRefused):
            self.own.add(write({"id": self._id(self.now), **draft}, by, now=self.now).entry_id)

    def takes_out(self) -> None:
        """The keeper takes a detector out of service, or finds that its life has ended."""
        code = self.dice.choice(CODES)
        if self.dice.random() < 0.7:
            draft = {"kind": "out-of-service", "detector": f"detector:{code}", "because": "damaged"}
        else:
            serial = {"D-017": "Q-88213", "D-018": "Q-88214", "D-019": "Q-88215"}[code]
            draft = {**detector(code, serial), "life_ends": self._day(self.dice.choice((-1, 400)))}
        self._keeper_writes(draft)

    def _day(self, days: int) -> str:
        return local(Ms(self.now + days * DAY), ZONE).date().isoformat()

    def mends(self) -> None:
        """Detectors are repaired, calibrated and returned, and their gas is released."""
        for code in self.dice.sample(CODES, self.dice.choice((1, 1, 3))):
            self._mends(f"detector:{code}")
        gas = Now().state("cylinder:C-112")
        asked = [failure.entry for failure in getattr(gas, "failures", ()) if failure.until is None]
        if asked:
            self._keeper_writes({"kind": "cylinder-released", "cylinder": "cylinder:C-112", "answers": asked})

    def _mends(self, subject: str) -> None:
        state = Now().state(subject)
        answers = [reason.entry for reason in getattr(state, "open_reasons", ())]
        self._keeper_writes({"kind": "repaired", "detector": subject, "cause": "sensor-worn"})
        every = [{"channel": c["name"], "applied": "20", "result": "within"} for c in CHANNELS]
        self._keeper_writes(
            {"kind": "calibration", "detector": subject, "cylinders": ["cylinder:C-112"],
             "result": "passed", "channels": every}
        )  # fmt: skip
        if answers:
            self._keeper_writes({"kind": "returned-to-service", "detector": subject, "answers": answers})

    def people_change(self) -> None:
        """Somebody's training lapses or is made good; somebody leaves or comes back."""
        draft = self.dice.choices(
            (
                {"kind": "training", "person": TESTER, "topic": "bump-test", "result": "failed"},
                {"kind": "training", "person": TESTER, "topic": "bump-test", "valid_until": self._day(-1)},
                {"kind": "training", "person": TESTER, "topic": "bump-test", "valid_until": "2028-03-02"},
                {"kind": "training", "person": KEEPER, "topic": "bump-test", "valid_until": "2028-03-02"},
                {"kind": "person", "person": TESTER, "name": "Rui Marrel", "roles": ["tester", "wearer"],
                 "home": SITE, "left": self._day(-1)},
                {"kind": "person", "person": TESTER, "name": "Rui Marrel", "roles": ["tester", "wearer"],
                 "home": SITE},
            ),
            (1, 1, 4, 1, 1, 3),
        )[0]  # fmt: skip
        self._keeper_writes(draft)

    def settles(self) -> None:
        """The keeper or the deputy decides about something that waits."""
        rows = waiting.waiting()
        if not rows:
            return
        kept, by = self.dice.choice(rows), self.dice.choice((BOSS, BOSS, SECOND))
        how = self.dice.random()
        if how < 0.4:
            receiving.try_again(kept.number, by, now=self.now)
            return
        draft = waiting.draft_of(kept)
        if how < 0.8 and draft:
            if self.dice.random() < 0.5:
                self._put_right(draft, kept)
            try:
                self.own.add(waiting.write_corrected(kept.number, draft, by, now=self.now).entry_id)
                return
            except EntryRefused:
                pass
        if how > 0.6:
            waiting.set_aside(kept.number, "another test was made at once", by, now=self.now)

    def _put_right(self, draft: dict[str, Any], kept: Waiting) -> None:
        """The detector that was meant, and the time at which it was, as far as anybody remembers."""
        if draft.get("detector") == "detector:D-404":
            draft["detector"] = "detector:D-019"
        at = Ms(kept.came_at - 5 * MINUTE)
        draft["at"] = text_of(at)
        for gas in draft.get("applications", ()):
            gas |= {"gas_on": text_of(Ms(at - MINUTE)), "gas_off": text_of(Ms(at - MINUTE // 2))}

    def corrects(self) -> None:
        """An entry that came from a phone is voided, or put at another time, by its writer or another."""
        able = [row for row in self._since() if row.kind in _CORRECTED]
        if not able:
            return
        row = self.dice.choice(able)
        draft: dict[str, Any] = {"kind": "correction", "corrects": row.entry_id, "reason": "a slip"}
        by = self.dice.choice((BOSS, SECOND, Actor(TESTER, SITE, ZONE)))
        if self.dice.random() < 0.4:
            self._keeper_writes({**draft, "how": "void"}, by)
            return
        instead = dict(read_leaf(row.leaf.encode()).body)
        instead["at"] = text_of(Ms(row.at + self.dice.choice((-1440, -40, -5, 0, 5)) * MINUTE))
        self._keeper_writes({**draft, "how": "replace", "replacement": instead}, by)

    # --- The reckoning

    def written(self) -> list[tuple[int, dict[str, Any], str]]:
        """The whole book as the literal reading wants it, read from the leaves."""
        leaves = ((row, read_leaf(row.leaf.encode())) for row in book.all_rows())
        return [(row.index, dict(leaf.body), leaf.recorded_at) for row, leaf in leaves]

    def _since(self) -> list[book.Row]:
        return [row for row in book.all_rows() if row.index >= self.before]

    def troubles(self, subject: str) -> list[str]:
        """What the literal reading says against a detector now."""
        return list(Reading(self.written(), moment(text_of(self.now))).troubles(subject))

    def compare(self) -> None:
        """The gate says yes where, and only where, the literal reading does."""
        entries = self.written()
        reading = Reading(entries, moment(text_of(self.now)))
        ahead = any(ms_of(body["at"]) > self.now for _, body, _ in entries)
        for code in CODES:
            decision = gate_one(f"detector:{code}", now=self.now).decision
            troubles = list(reading.troubles(f"detector:{code}"))
            yes = decision.verdict is Verdict.MAY_GO_OUT
            told = f"{code} at {text_of(self.now)}: {decision.verdict} {decision.decisive}; rules {troubles}"
            assert not (yes and troubles), told
            # Of facts that have not come yet, by a clock within its two minutes, only the gate knows.
            assert ahead or yes != bool(troubles), told
            self.compared += 1

    def comes_home(self) -> None:
        """In the end there is network and every phone is registered: everything is sent, and once more what
        was sent before."""
        for on in self.handsets:
            self._pair(on)
        while self.strays:
            self.stray_arrives()
        for on in self.handsets:
            for _ in range(60):
                if not on.unsent():
                    break
                self.send(on, surely=True)
            assert on.unsent() == []
            fit = [act for act in on.acts if act.state == "answered"]
            for first in range(0, len(fit), MOST):
                before = book.head().size, Waiting.objects.count()
                self._deliver(on, fit[first : first + MOST])
                assert (book.head().size, Waiting.objects.count()) == before

    def reckon(self) -> Counter[str]:
        """What became of every act of every phone: each ended once. How many ended how."""
        ended: Counter[str] = Counter()
        idle = {fact.body["id"]: fact.idle for fact in facts_of(self.written())}
        corrected = {b["corrects"] for _, b, _ in self.written() if b["kind"] == "correction"}
        stands: set[str] = set()
        for on in self.handsets:
            for act in on.acts:
                fate = self._fate(act, stands)
                if fate == "written" and act.answer.get("counts") is False:
                    fate = "not-counted"
                if fate in ("written", "not-counted") and act.entry_id not in corrected:
                    told = act.answer.get("counts")
                    assert told is None or told == (not idle[act.entry_id]), act.body
                ended[fate] += 1
        self._nothing_else(stands)
        for subject in (*book.subjects("detector"), *book.subjects("cylinder"), *book.subjects("person")):
            assert Now().state(subject) == refold_in_full(subject), subject
        self.compare()
        return ended

    def _fate(self, act: Act, stands: set[str]) -> str:
        row = book.by_id(act.entry_id)
        same = row is not None and read_leaf(row.leaf.encode()).body == act.body
        kept = waiting.find(waiting.digest_of(act.text))
        if act.state == "refused":
            assert kept is None
            assert not same
            return "refused"
        assert act.state == "answered"
        status = act.answer["status"]
        if kept is None:
            assert same
            assert row is not None
            assert status in ("written", "already")
            assert act.answer["index"] == row.index
            assert act.entry_id not in stands
            stands.add(act.entry_id)
            return "written"
        assert status in ("waiting", "settled")
        assert act.answer["waiting"] == kept.number
        known = act.body.get("detector") in {f"detector:{code}" for code in CODES}
        if known and waiting.speaks_against(act.body):
            assert act.answer["taken_out"]
            assert book.by_id(kept.withdrawn_by) is not None
        if kept.state == waiting.WRITTEN:
            assert kept.index is not None
            stood = book.at_index(kept.index)
            assert stood is not None
            body = read_leaf(stood.leaf.encode()).body
            assert body == act.body or body["entered"]["waiting"] == kept.digest
            if body == act.body:
                stands.add(act.entry_id)
            return "written-otherwise"
        if kept.state == waiting.SET_ASIDE:
            assert kept.reason
            return "set-aside"
        assert kept.content == act.text
        assert kept.why
        assert status == "waiting"
        return "waiting"

    def _nothing_else(self, stands: set[str]) -> None:
        """In the book stand what phones wrote, what the keeper wrote, what takes out of service for what
        waits, and phones registered and ended. Nothing besides, and nothing twice."""
        taken_out = set(Waiting.objects.exclude(withdrawn_by="").values_list("withdrawn_by", flat=True))
        ids = [row.entry_id for row in self._since() if row.kind not in ("device", "device-ended")]
        assert len(ids) == len(set(ids))
        assert set(ids) == stands | self.own | taken_out


_CORRECTED: Final = frozenset({"bump-test", "happened", "fresh-air-set", "handed-out", "handed-back"})
#: What happens, and how often.
ACTS: Final[Mapping[str, int]] = {
    "phone_writes": 30, "phone_sends": 14, "stray_arrives": 4, "clock_jumps": 2, "wait": 12, "pairs": 3,
    "ends": 1, "takes_out": 1, "mends": 9, "people_change": 2, "settles": 6, "corrects": 4,
}  # fmt: skip


def begin() -> None:
    """The small book with a deputy of the keeper's and the tester's account."""
    from tests.web.conftest import fill

    fill(NOON)
    draft = {
        "kind": "person", "person": SECOND.person, "name": "Ana Riba", "roles": ["keeper"], "home": SITE,
    }  # fmt: skip
    write(draft, BOSS, now=Ms(NOON - HOUR))
    user = User.objects.create_user("rui")
    Login.objects.create(user=user, person=TESTER, site=SITE)


@contextmanager
def life(seed: int) -> Iterator[FieldLife]:
    """A life whose clock is the present, and whose server breaks when the life says so."""
    made: list[FieldLife] = []

    def breaking(*given: Any, **named: Any) -> Any:
        if made and made[0].breaks_in:
            made[0].breaks_in -= 1
            if made[0].breaks_in == 0:
                raise RuntimeError("the disk is gone for a moment")
        return append(*given, **named)

    def now() -> Ms:
        return made[0].now if made else NOON

    with mock.patch.object(clock, "now", now), mock.patch.object(receiving, "append", breaking):
        made.append(FieldLife(seed))
        yield made[0]


def live(
    seed: int, acts: int, *, each: Callable[[FieldLife], None] | None = None
) -> tuple[Counter[str], int]:
    """Live one life and reckon: how many acts of phones ended how, and how many decisions were compared."""
    with life(seed) as found:
        for name in found.dice.choices(list(ACTS), list(ACTS.values()), k=acts):
            getattr(found, name)()
            if name in ("phone_sends", "stray_arrives", "corrects", "settles", "mends"):
                found.compare()
            if each is not None:
                each(found)
        found.comes_home()
        return found.reckon(), found.compared
