"""Handing out and back on the field page, in a real browser at the width of a phone: offline for real."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from hashlib import sha256
from typing import Any

import pytest

from pitbird.fleet.times import HOUR, Ms, local, ms_of
from pitbird.record.signature import verify_signature
from pitbird.services import clock
from tests.web.field_phone import BEGIN, LINKS, PIN, Phone, Site, new_phone, phone, python, shelf
from tests.web.test_bump_browser import in_order, look
from tests.web.test_pages_browser import served

__all__ = ["new_phone", "phone", "shelf"]

pytestmark = [pytest.mark.browser, pytest.mark.slow]

PEOPLE = f"""
from pitbird.services.writing import write
for code, name, roles in (
    ("P-07", "Rui Marrel", ["tester", "wearer"]), ("P-12", "Sunniva Aske", ["wearer"]),
    ("P-13", "Tarn Oduya", ["wearer"]),
):
    write({{"kind": "person", "person": f"person:{{code}}", "name": name, "roles": roles,
           "home": "site:north-works"}}, keeper)
    if code != "P-13":
        write({{"kind": "training", "person": f"person:{{code}}", "topic": "wearing"}}, keeper)
pins.set_pin("person:P-07", "{PIN}", by=keeper.person)
"""
WEARER, UNTRAINED = "Sunniva Aske (P-12)", "Tarn Oduya (P-13)"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    home = tmp_path_factory.mktemp("home")
    python(home, BEGIN + PEOPLE)
    links = python(home, LINKS).split()
    with served(home) as address:
        yield Site(address, home, iter(links), iter(range(40)))


def let_in_as(phone: Phone, name: str) -> None:
    phone.button("Somebody else")
    phone.button(name)
    phone.page.get_by_label("PIN of").fill(PIN)
    phone.button("Go on")
    phone.heading("Which detector?")


def shown_gas(phone: Phone) -> str:
    """A detector with a pass that the server has."""
    code = phone.new()
    phone.plain(code)
    phone.became("in the book, number")
    phone.page.locator(".stamp--may-go-out").wait_for()
    return code


def to(phone: Phone, name: str) -> None:
    phone.button("Hand it out")
    phone.button(name)


def became(phone: Phone, text: str) -> None:
    phone.page.locator("#became", has_text=text).first.wait_for()


def told(phone: Phone, text: str) -> None:
    """What the screen says, not only what is read out."""
    phone.page.locator("#page").get_by_text(text).first.wait_for()


def change_over(phone: Phone) -> None:
    phone.page.get_by_role("button", name="Change-over").first.tap()


# --- Handing out


def test_a_detector_goes_out_to_a_wearer_with_the_gates_answer_and_is_in_the_book_once(phone: Phone) -> None:
    code = shown_gas(phone)
    phone.taps = 0
    to(phone, WEARER)
    phone.heading(f"{code} for Sunniva Aske (P-12)")
    phone.page.locator(".stamp--may-go-out", has_text="until").wait_for()
    assert phone.page.get_by_text("The server's answer for Sunniva Aske (P-12)").is_visible()
    phone.button("Go on")
    phone.heading(f"{code} to Sunniva Aske (P-12)")
    phone.page.get_by_label("Permit or job").fill("PTW-1184")
    change_over(phone)
    phone.button("Write: handed out")
    phone.heading(f"{code}: handed out to Sunniva Aske (P-12)")
    assert phone.taps <= 5
    became(phone, "in the book, number")
    [leaf] = phone.site.entries(code, "handed-out")
    body = leaf.body
    assert (body["to"], body["from_store"], body["permit"]) == ("person:P-12", True, "PTW-1184")
    assert body["about"] == [f"detector:{code}", "person:P-12"]
    due = local(ms_of(body["due_back"]), "Europe/Lisbon")
    assert (due.hour, due.minute) == (4, 0)
    assert clock.now() < ms_of(body["due_back"]) <= clock.now() + 25 * HOUR
    assert body["phone"]["known_by"] == "pin"
    verify_signature(body, leaf.signature)
    phone.look_up(code, "Next detector")
    phone.page.get_by_role("heading", name="Sunniva Aske (P-12) has it.").wait_for()
    assert phone.page.get_by_text("For PTW-1184. Due back").is_visible()


def test_a_wearer_who_was_never_trained_is_told_of_before(phone: Phone) -> None:
    code = shown_gas(phone)
    to(phone, UNTRAINED)
    told(phone, "No training of Tarn Oduya is on record")
    look(phone.page, "hand-untrained")
    assert phone.site.entries(code, "handed-out") == []
    phone.button("Back")
    phone.context.set_offline(True)
    phone.button(UNTRAINED)
    told(phone, "No training of Tarn Oduya (P-13) is on record")
    assert phone.page.get_by_text("The server could not be asked now.").is_visible()
    phone.page.locator(".stamp--may-go-out").wait_for()


def test_typing_narrows_and_a_code_is_taken(phone: Phone) -> None:
    code = shown_gas(phone)
    phone.button("Hand it out")
    box = phone.page.get_by_label("Name or code")
    assert phone.page.locator("#people button").count() == 3  # the wearers
    box.fill("suñn")
    assert phone.page.locator("#people button").all_inner_texts() == [WEARER]
    box.fill("nobody")
    box.press("Enter")
    told(phone, "Nobody carried here answers to that.")
    box.fill("https://pitbird.example/people/K-1")
    box.press("Enter")
    phone.heading(f"{code} for Ilda Fontanova (K-1)")


def test_another_time_is_one_of_the_sites_clock(phone: Phone) -> None:
    code = shown_gas(phone)
    to(phone, WEARER)
    phone.button("Go on")
    phone.button("Write: handed out")
    told(phone, "Say when it is due back, or that no time is set.")
    wanted = local(Ms(clock.now() + 3 * HOUR), "Europe/Lisbon").strftime("%H:%M")
    phone.page.get_by_label("Another time, within a day").fill(wanted)
    phone.page.get_by_label("Permit or job").tap()
    phone.page.locator("#page").get_by_role("status").filter(has_text="Due back").wait_for()
    phone.button("Write: handed out")
    became(phone, "in the book, number")
    [leaf] = phone.site.entries(code, "handed-out")
    ahead = ms_of(leaf.body["due_back"]) - clock.now()
    assert 2.9 * HOUR < ahead < 3.1 * HOUR
    assert "permit" not in leaf.body


@pytest.mark.parametrize(
    ("now", "text", "zone", "found"),
    [
        # Clocks in Lisbon go forward from 01:00 to 02:00 on 29 March 2026 and back on 25 October
        # (Directive 2000/84/EC).
        ("2026-03-28T23:30:00Z", "06:00", "Europe/Lisbon", "2026-03-29T05:00:00.000Z"),
        ("2026-03-28T23:30:00Z", "01:30", "Europe/Lisbon", None),
        ("2026-10-24T22:30:00Z", "06:00", "Europe/Lisbon", "2026-10-25T06:00:00.000Z"),
        ("2026-07-01T20:00:00Z", "17:00", "Europe/Lisbon", "2026-07-02T16:00:00.000Z"),
        ("2026-07-01T15:00:00Z", "17:00", "Europe/Lisbon", "2026-07-01T16:00:00.000Z"),
        ("2026-01-10T00:30:00Z", "07:15", "Asia/Kathmandu", "2026-01-10T01:30:00.000Z"),
    ],
)
def test_a_typed_time_is_the_next_of_the_zone(
    phone: Phone, now: str, text: str, zone: str, found: str | None
) -> None:
    said = phone.page.evaluate(
        """async ([now, text, zone]) => (await import('/static/pitbird/field/custody.js'))
            .nextAt(text, zone, Date.parse(now))""",
        [now, text, zone],
    )
    assert said == found


def test_without_network_it_goes_out_and_comes_back_and_both_arrive_once(phone: Phone) -> None:
    code = shown_gas(phone)
    phone.context.set_offline(True)
    to(phone, WEARER)
    phone.page.locator(".stamp--may-go-out").wait_for()
    phone.button("Go on")
    phone.button("No time is set")
    phone.button("Write: handed out")
    became(phone, "not yet in the book")
    look(phone.page, "hand-offline")
    phone.look_up(code, "Next detector")
    phone.page.get_by_role("heading", name="Sunniva Aske (P-12) has it.").wait_for()
    # A rule might say that a change of hands ends the pass: the carried yes is not shown any more.
    assert phone.page.locator(".stamp--may-go-out").count() == 0
    told(phone, "Written here, not yet judged")
    phone.taps = 0
    phone.button("Take it back")
    phone.heading(f"{code}: back from Sunniva Aske (P-12)")
    phone.button("It was dropped")
    phone.button("It alarmed")
    phone.button("Take it back, with this")
    told(phone, "Say which channels alarmed, or that it did not.")
    phone.button("H2S")
    look(phone.page, "hand-back")
    phone.button("Take it back, with this")
    phone.heading(f"{code}: taken back")
    became(phone, "not yet in the book")
    phone.button("To the beginning")
    assert phone.page.locator("#unsent").inner_text() == "Not yet in the book: 4"
    phone.context.set_offline(False)
    told(phone, "Everything written here was sent.")
    found = phone.site.entries(code, "handed-out", "happened", "alarm-in-use", "handed-back")
    kinds = [leaf.body["kind"] for leaf in found]
    assert kinds == ["handed-out", "happened", "alarm-in-use", "handed-back"]
    assert (found[1].body["what"], found[2].body["channel"]) == ("drop", "H2S")
    assert found[3].body["back_from"] == "person:P-12"
    for leaf in found:
        verify_signature(leaf.body, leaf.signature)
    phone.look_up(code)
    phone.page.locator(".stamp--not-yet").wait_for()  # strict rules: a drop ends the pass
    phone.page.get_by_role("heading", name="In the store, as far as the server knows.").wait_for()


def test_nothing_happened_is_two_taps(phone: Phone) -> None:
    code = shown_gas(phone)
    to(phone, WEARER)
    phone.button("Go on")
    phone.button("No time is set")
    phone.button("Write: handed out")
    became(phone, "in the book, number")
    phone.look_up(code, "Next detector")
    phone.taps = 0
    phone.button("Take it back")
    phone.button("Nothing: take it back")
    became(phone, "in the book, number")
    assert phone.taps == 2
    [leaf] = phone.site.entries(code, "handed-back")
    assert leaf.body["back_from"] == "person:P-12"
    assert phone.site.entries(code, "happened", "alarm-in-use") == []


def test_from_wearer_to_wearer_the_gate_says_first_take_it_back(phone: Phone) -> None:
    code = shown_gas(phone)
    to(phone, WEARER)
    phone.button("Go on")
    phone.button("No time is set")
    phone.button("Write: handed out")
    became(phone, "in the book, number")
    for offline in (False, True):
        phone.context.set_offline(offline)
        phone.button("To the beginning" if not offline else "Leave it in")
        if not offline:
            phone.look_up(code)
        phone.button("Hand it on")
        told(phone, "It goes from wearer to wearer.")
        phone.button(UNTRAINED)
        phone.page.locator(".stamp--not-yet").wait_for()
        holds = "Sunniva Aske holds the detector, not Tarn Oduya"
        told(phone, holds)
    phone.button("It is gone already: write it down")
    phone.button("No time is set")
    phone.button("Write: gone out without a yes")
    became(phone, "not yet in the book")
    phone.context.set_offline(False)
    became(phone, "in the book, number")
    assert [leaf.body["from_store"] for leaf in phone.site.entries(code, "handed-out")] == [True, False]


def test_a_test_on_this_phone_is_no_answer_of_the_server(phone: Phone) -> None:
    code = phone.new()
    phone.context.set_offline(True)
    phone.plain(code)
    to(phone, WEARER)
    phone.page.locator("#page .stamp").wait_for()
    assert phone.page.locator(".stamp--may-go-out").count() == 0
    words = phone.page.locator("#page .caution").last.inner_text()
    assert "The server has not said that it may go out to Sunniva Aske (P-12)." in words
    assert "A test on this phone is no answer of the server." in words
    look(phone.page, "hand-no-yes")
    in_order(phone.page)
    phone.button("Leave it in")
    phone.heading(code)
    phone.button("Hand it out")
    phone.button(WEARER)
    phone.button("It is gone already: write it down")
    change_over(phone)
    phone.button("Write: gone out without a yes")
    became(phone, "not yet in the book")
    told(phone, "The server has not said that it may go out to Sunniva Aske (P-12).")
    phone.context.set_offline(False)
    became(phone, "in the book, number")
    assert len(phone.site.entries(code, "handed-out")) == 1
    assert len(phone.site.entries(code, "bump-test")) == 1


def test_what_failed_here_is_told_to_stay_in_and_is_never_issued_untested(phone: Phone) -> None:
    code = shown_gas(phone)
    phone.context.set_offline(True)
    phone.look_up(code, "Next detector")
    phone.button("Test it with C-112")
    phone.button("All of these are well")
    phone.button("Gas on")
    phone.button("H2S: did not")
    phone.button("Gas off")
    phone.button("Both are so")
    phone.button("Write it")
    phone.became("not yet in the book")
    phone.look_up(code, "Next detector")
    to(phone, WEARER)
    told(phone, "Do not hand it out. Take another detector.")
    told(phone, "Failed on this phone, not yet in the book")
    assert phone.page.get_by_role("button", name="Issue it untested").count() == 0
    look(phone.page, "hand-failed-here")


def test_the_servers_yes_that_is_over_is_none_for_a_wearer_either(phone: Phone) -> None:
    code = shown_gas(phone)
    to(phone, WEARER)
    phone.button("Go on")
    phone.button("No time is set")
    phone.context.set_offline(True)
    phone.page.evaluate("""async () => {
        const {app} = await import('/static/pitbird/field/page.js');
        app.data.fresh.detector.until = new Date(Date.now() - 1000).toISOString();
    }""")
    phone.button("Write: handed out")
    told(phone, "The server's answer was over before it was written.")
    assert phone.page.locator(".stamp--may-go-out").count() == 0
    assert phone.site.entries(code, "handed-out") == []


# --- Put together from parts


PARTS = """async ([detector, person]) => {
    const {standingFor} = await import('/static/pitbird/field/wearer.js');
    const kept = {value: {until: '2026-03-03T04:00:00.000Z'}, contact: '2026-03-02T12:00:00.000Z', ahead: 0};
    const now = Date.parse('2026-03-02T12:30:00.000Z');
    const {verdict, until, against} = standingFor(kept, detector, person, now);
    return [verdict, until, against.length];
}"""
YES = {"verdict": "may-go-out", "until": "2026-03-03T04:00:00.000Z"}
FINE: dict[str, Any] = {"against": None, "until": None, "warns": []}
NOT_YET: dict[str, Any] = {"against": "not-yet", "until": None, "reason": "x", "to_do": "", "warns": []}
CANNOT = {**NOT_YET, "against": "cannot-tell"}


@pytest.mark.parametrize(
    ("detector", "person", "said"),
    [
        (YES, {"wearing": FINE}, ["may-go-out", "2026-03-03T04:00:00.000Z", 0]),
        (YES, {"wearing": {**FINE, "until": "2026-03-02T13:00:00.000Z"}},
         ["may-go-out", "2026-03-02T13:00:00.000Z", 0]),
        (YES, {"wearing": {**FINE, "until": "2026-03-02T12:30:00.000Z"}}, ["cannot-tell", None, 1]),
        (YES, {"wearing": NOT_YET}, ["not-yet", None, 1]),
        (YES, {"wearing": CANNOT}, ["cannot-tell", None, 1]),
        (YES, {"wearing": {**CANNOT, "against": "later-word"}}, ["cannot-tell", None, 1]),
        (YES, {}, ["cannot-tell", None, 1]),
        ({**YES, "holder": "P-1"}, {"wearing": FINE}, ["cannot-tell", None, 1]),
        ({**YES, "holder": "P-12"}, {"wearing": FINE}, ["may-go-out", "2026-03-03T04:00:00.000Z", 0]),
        ({**YES, "holder": "P-1", "for_others": NOT_YET}, {"wearing": CANNOT}, ["not-yet", None, 2]),
        ({"verdict": "out-of-service"}, {"wearing": FINE}, ["out-of-service", None, 0]),
        ({"verdict": "cannot-tell"}, {"wearing": NOT_YET}, ["cannot-tell", None, 1]),
        ({**YES, "until": None}, {"wearing": FINE}, ["cannot-tell", None, 0]),
    ],
)  # fmt: skip
def test_the_parts_are_put_side_by_side_and_what_is_missing_is_no_yes(
    phone: Phone, detector: dict[str, Any], person: dict[str, Any], said: list[Any]
) -> None:
    assert phone.page.evaluate(PARTS, [detector, {"code": "P-12", **person}]) == said


def test_what_is_written_while_the_page_talks_with_the_server_is_sent_next(phone: Phone) -> None:
    code = shown_gas(phone)
    to(phone, WEARER)
    phone.button("Go on")
    phone.button("No time is set")
    held: list[Any] = []
    phone.page.route("**/api/field/snapshot*", lambda route: held.append(route))
    phone.page.evaluate("import('/static/pitbird/field/page.js').then(({app}) => { app.refresh(); })")
    phone.page.wait_for_timeout(500)
    assert len(held) == 1
    phone.button("Write: handed out")
    became(phone, "not yet in the book")
    held[0].continue_()
    phone.page.unroute("**/api/field/snapshot*")
    became(phone, "in the book, number")
    assert len(phone.site.entries(code, "handed-out")) == 1


# --- Half filled in


def close_and_open(phone: Phone) -> None:
    phone.close()
    phone.page = phone.opened()
    phone.page.goto(f"{phone.site.address}/field/")


def kept_half(phone: Phone) -> Any:
    return phone.page.evaluate("async () => (await import('/static/pitbird/field/keep.js')).get('half')")


def test_a_half_filled_hand_out_is_offered_again_and_the_answer_is_asked_for_anew(phone: Phone) -> None:
    code = shown_gas(phone)
    to(phone, WEARER)
    phone.button("Go on")
    phone.page.get_by_label("Permit or job").fill("PTW-2207")
    change_over(phone)
    assert "fresh" not in kept_half(phone)
    close_and_open(phone)
    phone.heading(f"Handing out {code} to {WEARER} was left half done")
    look(phone.page, "field-half")
    phone.button("Go on with it")
    told(phone, f"The server's answer for {WEARER}")
    phone.button("Go on")
    phone.page.locator('#permit[value="PTW-2207"]').wait_for()
    phone.page.locator("[aria-pressed=true]", has_text="Change-over").wait_for()
    phone.button("Write: handed out")
    became(phone, "in the book, number")
    [leaf] = phone.site.entries(code, "handed-out")
    assert leaf.body["permit"] == "PTW-2207"
    assert kept_half(phone) is None
    phone.page.reload()
    phone.heading("Which detector?")


def test_a_half_filled_hand_out_comes_no_nearer_to_a_yes_by_being_kept(phone: Phone) -> None:
    code = shown_gas(phone)
    to(phone, WEARER)
    phone.button("Go on")
    phone.page.get_by_label("Permit or job").fill("PTW-2208")
    phone.close()
    happened = f"""
import django; django.setup()
from pitbird.services.writing import Actor, write
keeper = Actor("person:K-1", "site:north-works", "Europe/Lisbon")
write({{"kind": "happened", "detector": "detector:{code}", "what": "drop", "channels": []}}, keeper)
"""
    python(phone.site.home, happened)
    phone.page = phone.opened()
    phone.page.goto(f"{phone.site.address}/field/")
    phone.button("Go on with it")
    told(phone, f"The server has not said that it may go out to {WEARER}.")
    assert phone.page.get_by_role("button", name="Go on", exact=True).count() == 0
    phone.button("Leave it in")
    phone.heading(code)
    assert kept_half(phone) is None
    phone.page.reload()
    phone.heading("Which detector?")


def test_a_half_filled_untested_issue_keeps_its_reason_and_asks_for_the_authority_again(phone: Phone) -> None:
    code = phone.new()
    phone.look_up(code)
    to(phone, WEARER)
    phone.button("Issue it untested")
    phone.button("Ilda Fontanova (K-1)")
    phone.page.get_by_label("For which job").fill("Pump 3, no gas left")
    close_and_open(phone)
    phone.button("Go on with it")
    phone.button("Issue it untested")
    phone.heading(f"{code}: on whose authority, untested?")
    phone.button("Ilda Fontanova (K-1)")
    assert phone.page.get_by_label("For which job").input_value() == "Pump 3, no gas left"
    assert phone.page.locator("[aria-pressed=true]").count() == 0


def test_no_time_for_a_hand_out_is_none_for_an_untested_issue(phone: Phone) -> None:
    """An untested issue must have an end, whatever was chosen before it."""
    code = phone.new()
    phone.look_up(code)
    to(phone, WEARER)
    phone.button("It is gone already: write it down")
    phone.button("No time is set")
    phone.button("Back")
    phone.button("Issue it untested")
    phone.button("Ilda Fontanova (K-1)")
    phone.page.get_by_label("For which job").fill("Pump 3")
    phone.button("Issue it UNTESTED")
    told(phone, "Say until when.")
    assert phone.site.entries(code, "issued-untested") == []


def test_a_half_filled_taking_back_is_offered_again_to_the_same_person_only(new_phone: Phone) -> None:
    new_phone.ready()
    code = shown_gas(new_phone)
    new_phone.look_up(code, "Next detector")
    new_phone.button("Take it back")
    new_phone.button("It was dropped")
    close_and_open(new_phone)
    new_phone.heading(f"Taking back {code} was left half done")
    new_phone.button("Somebody else")
    new_phone.button("Ilda Fontanova (K-1)")
    new_phone.page.get_by_label("PIN of").fill(PIN)
    new_phone.button("Go on")
    new_phone.button("Go on with it")
    new_phone.page.locator("[aria-pressed=true]", has_text="It was dropped").wait_for()
    new_phone.page.reload()
    new_phone.button("Somebody else")
    new_phone.button("Rui Marrel (P-07)")
    new_phone.page.get_by_label("PIN of").fill(PIN)
    new_phone.button("Go on")
    new_phone.heading("Which detector?")
    assert kept_half(new_phone) is None


def test_signing_out_takes_what_is_half_filled_with_it(new_phone: Phone) -> None:
    new_phone.ready()
    new_phone.page.evaluate("""async () => {
        const keep = await import('/static/pitbird/field/keep.js');
        await keep.put('half', { what: 'back' });
    }""")
    new_phone.button("Sound, vibration, language, signing out")
    new_phone.button("Sign out of this phone")
    new_phone.heading("Sign out")
    assert kept_half(new_phone) is None


# --- Issued untested


def test_an_untested_issue_is_loud_and_has_an_authority_a_reason_and_an_end(phone: Phone) -> None:
    code = phone.new()
    phone.look_up(code)
    to(phone, WEARER)
    phone.page.locator(".stamp--not-yet").wait_for()
    phone.button("Issue it untested")
    told(phone, "An untested detector may be dead")
    assert phone.page.locator("#page .field-list button").all_inner_texts() == ["Ilda Fontanova (K-1)"]
    phone.button("Ilda Fontanova (K-1)")
    phone.button("Issue it UNTESTED")
    told(phone, "Say for which job, and why it cannot be tested.")
    phone.page.get_by_label("For which job").fill("Pumping out shaft 4; the last cylinder is empty")
    phone.button("Issue it UNTESTED")
    told(phone, "Say until when.")
    change_over(phone)
    phone.button("Issue it UNTESTED")
    phone.heading(f"{code}: issued UNTESTED to Sunniva Aske (P-12)")
    assert "on the authority of Ilda Fontanova (K-1). Tell Sunniva Aske (P-12) so." in (
        phone.page.locator("#page .caution").first.inner_text()
    )
    became(phone, "in the book, number")
    look(phone.page, "hand-untested-done")
    [leaf] = phone.site.entries(code, "issued-untested")
    body = leaf.body
    assert (body["to"], body["authority"]) == ("person:P-12", "person:K-1")
    verify_signature(body, leaf.signature)
    phone.look_up(code, "Next detector")
    told(phone, "Issued untested until")
    assert phone.page.locator(".stamp--may-go-out").count() == 0
    with closing(sqlite3.connect(f"file:{phone.site.home / 'book.sqlite3'}?mode=ro", uri=True)) as database:
        blobs = database.execute("SELECT salt, content FROM store_blob").fetchall()
    texts = {"sha256:" + sha256(salt + content).hexdigest(): content.decode() for salt, content in blobs}
    assert texts[body["reason"]] == "Pumping out shaft 4; the last cylinder is empty"
    kept = phone.page.evaluate("""async () => {
        const keep = await import('/static/pitbird/field/keep.js');
        return (await keep.entries()).map((entry) => [entry.body.kind, entry.texts]);
    }""")
    assert kept == [["issued-untested", {}]]  # once it was answered the text is not on the phone any more


def test_who_has_not_the_right_is_not_offered_it_and_an_entry_all_the_same_waits(new_phone: Phone) -> None:
    new_phone.ready()
    let_in_as(new_phone, "Rui Marrel (P-07)")
    code = new_phone.new()
    new_phone.look_up(code)
    to(new_phone, WEARER)
    new_phone.page.locator(".stamp--not-yet").wait_for()
    assert new_phone.page.get_by_role("button", name="Issue it untested").count() == 0
    # Tricked into it, the page writes an entry that the server does not take.
    new_phone.page.evaluate(
        """async (code) => {
        const {app} = await import('/static/pitbird/field/page.js');
        const chosen = new Date(Date.now() + 3600000).toISOString();
        app.go("untested", {code, to: "P-12", authority: "P-07", chosen});
    }""",
        code,
    )
    new_phone.page.get_by_label("For which job").fill("none")
    new_phone.page.wait_for_timeout(300)
    new_phone.button("Issue it UNTESTED")
    became(new_phone, "it waits for the keeper")
    assert "this person may not write it" in new_phone.page.locator("#became").inner_text()
    assert new_phone.site.entries(code, "issued-untested") == []


# --- For everybody


@pytest.mark.parametrize("width", [320, 390])
def test_every_step_is_fit_for_everybody(phone: Phone, width: int) -> None:
    phone.page.set_viewport_size({"width": width, "height": 700 if width == 320 else 844})
    code = shown_gas(phone)

    def seen(name: str) -> None:
        in_order(phone.page)
        look(phone.page, f"hand-{name}")

    phone.look_up(code, "Next detector")
    seen("detector")
    phone.button("Hand it out")
    seen("to")
    phone.button(WEARER)
    phone.page.locator(".stamp--may-go-out").wait_for()
    seen("answer")
    phone.button("Go on")
    change_over(phone)
    seen("terms")
    phone.button("Write: handed out")
    became(phone, "in the book, number")
    seen("handed")
    phone.look_up(code, "Next detector")
    seen("holder")
    phone.button("Take it back")
    phone.button("It was dropped")
    phone.button("It alarmed")
    seen("back")
    phone.button("CO")
    phone.button("Take it back, with this")
    became(phone, "in the book, number")
    seen("taken-back")
    other = phone.new()
    phone.look_up(other, "Next detector")
    to(phone, UNTRAINED)
    phone.page.locator(".stamp--not-yet").wait_for()
    seen("no-yes")
    phone.button("Issue it untested")
    seen("authority")
    phone.button("Ilda Fontanova (K-1)")
    seen("untested")
