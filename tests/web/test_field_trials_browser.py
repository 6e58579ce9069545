"""Hard trials of the field page over TLS: what goes wrong in the field ends in a state that is shown, and
nothing is dropped and nothing written twice."""

from __future__ import annotations

import os
import re
import shutil
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.conftest import CHROMIUM_ARGS
from tests.web.field_phone import Phone, python
from tests.web.field_site import PIN, Site, open_site
from tests.web.test_bump_browser import ANSWER, CHANNELS, FILL, in_order, look

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext

pytestmark = [pytest.mark.browser, pytest.mark.slow]

HAND: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2,
}  # fmt: skip
DAY_S = 86_400
#: Everything that the page asks of the device for hands and eyes, noted and given.
STUBS = """
window.asked = [];
navigator.vibrate = (pattern) => { asked.push("vibrate"); return true; };
window.AudioContext = class { currentTime = 0; destination = {}; constructor() { asked.push("audio"); } };
window.OscillatorNode = class { connect(next) { return next; } start() { asked.push("tone"); } stop() {} };
window.GainNode = class { connect(next) { return next; } };
Object.defineProperty(navigator, "wakeLock", {value: {request: async (what) => {
  asked.push(`awake ${what}`); return {release: async () => { asked.push("asleep"); }};
}}});
"""


#: From now on the database takes no entry: the transaction is undone, as where the quota is met.
FULL = """() => {
  window.added = IDBObjectStore.prototype.add;
  IDBObjectStore.prototype.add = function (value) {
    const request = window.added.call(this, value);
    request.transaction.abort();
    return request;
  };
}"""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with open_site(tmp_path_factory.mktemp("home")) as made:
        yield made


@pytest.fixture(autouse=True)
def _as_a_day_begins(site: Site) -> None:
    """The server runs, and the gas that the tests share is not asked about."""
    if site.server is None:
        site.start()
    site.desk(ANSWER)
    site.desk("write(rui, keeper); write(trained, keeper)")


@pytest.fixture(scope="module")
def trusting(browser: Browser, chromium: str, site: Site) -> Iterator[Browser]:
    """A Chromium that trusts the trial authority's key and no other that it does not know."""
    made = browser.browser_type.launch(executable_path=chromium, args=arguments(site))
    yield made
    made.close()


def arguments(site: Site) -> list[str]:
    return [*CHROMIUM_ARGS, f"--ignore-certificate-errors-spki-list={site.key}"]


@contextmanager
def in_hand(browser: Browser, site: Site, *scripts: str) -> Iterator[Phone]:
    """A phone of its own, paired and let in; its page may be given scripts before it loads."""
    context = browser.new_context(**HAND)
    for script in scripts:
        context.add_init_script(script)
    phone = held(context, site)
    try:
        phone.ready()
        yield phone
    finally:
        context.close()
    assert phone.faults == []


def held(context: BrowserContext, site: Site) -> Phone:
    context.set_default_timeout(20_000)
    return Phone(context, site)  # type: ignore[arg-type]


def ahead_by(seconds: int) -> str:
    """A script by which the phone's clock is wrong."""
    return f"""{{ const real = Date; const off = {seconds * 1000};
        window.Date = class extends real {{
            constructor(...given) {{ if (given.length) super(...given); else super(real.now() + off); }}
            static now() {{ return real.now() + off; }}
        }}; }}"""


def be(phone: Phone, name: str) -> None:
    """Somebody else takes the phone."""
    phone.button("Somebody else")
    phone.button(name)
    phone.page.get_by_label("PIN of").fill(PIN)
    phone.button("Go on")
    phone.heading("Which detector?")


def fails(phone: Phone, code: str, field: str = "Code or serial number") -> None:
    phone.to_gas(code) if field == "Code or serial number" else phone.look_up(code, field)
    phone.button("Gas on")
    phone.button("H2S: did not")
    phone.button("Gas off")
    phone.button("Both are so")
    phone.button("Write it")


@contextmanager
def answers_lost(phone: Phone, site: Site) -> Iterator[list[int]]:
    """The server gets what the phone sends, and its answers never come; what they were."""
    lost: list[int] = []

    def lose(route: Any) -> None:
        cookies = "; ".join(f"{each['name']}={each['value']}" for each in phone.context.cookies())
        headers = {"Content-Type": "application/json", "Cookie": cookies}
        lost.append(site.post("/api/field/entries", route.request.post_data_buffer, headers))
        route.abort()

    phone.page.route("**/api/field/entries?*", lose)
    yield lost
    phone.page.unroute("**/api/field/entries?*")


def kept(phone: Phone) -> list[list[str]]:
    """What the phone keeps: state and what was answered."""
    found: list[list[str]] = phone.page.evaluate(
        """async () => (await (await import('/static/pitbird/field/keep.js')).entries())
            .map((each) => [each.state, each.answer?.status ?? ""])"""
    )
    return found


def asks_again(phone: Phone) -> None:
    """The page sends and asks as it does when the network comes back."""
    phone.page.evaluate("window.dispatchEvent(new Event('online'))")


def back_online(phone: Phone) -> None:
    """The network is there again; asked once more, since what was asked before may still be on its way."""
    phone.context.set_offline(False)
    phone.page.wait_for_timeout(300)
    asks_again(phone)


def all_answered(phone: Phone) -> None:
    """Wait until nothing on the phone is unsent."""
    for _ in range(200):
        if not any(state == "unsent" for state, _status in kept(phone)):
            return
        phone.page.wait_for_timeout(100)
    raise AssertionError(f"not sent after 20 s: {kept(phone)}")


# --- What may become of a test


def test_what_waits_for_the_keeper_says_so_and_later_what_they_decided(trusting: Browser, site: Site) -> None:
    """Somebody had left when they tested: both tests wait; the answers are lost, and asked for again when the
    keeper has decided about one."""
    with in_hand(trusting, site) as phone:
        one, other = phone.new(), phone.new()
        be(phone, "Rui Marrel (P-07)")
        phone.context.set_offline(True)
        phone.plain(one)
        phone.look_up(other, "Next detector")
        phone.button("Test it with C-112")
        phone.button("All of these are well")
        phone.gas("CH4", "O2", "CO")
        phone.button("H2S: did not")
        phone.button("Gas off")
        phone.button("Sound, light and vibration came")
        phone.button("Both are so")
        phone.button("Write it")
        site.desk('write({**rui, "left": "2020-01-01"}, keeper)')
        with answers_lost(phone, site) as lost:
            phone.context.set_offline(False)
            while not lost:
                phone.page.wait_for_timeout(50)
            phone.button("To the beginning")
            phone.page.get_by_text("No network: it is sent when there is.").wait_for()
            assert set(lost) == {200}
            # Before the answers come through again: the page may ask by itself at any moment.
            site.desk('waiting.set_aside(waiting.waiting()[-2].number, "tested again by another", keeper)')
        asks_again(phone)
        phone.page.get_by_text("Everything written here was sent.").wait_for()
        told = phone.page.locator(".field-written").inner_text()
        assert "the keeper has settled it: tested again by another" in told
        assert "it waits for the keeper as number" in told
        assert "this person has left" in told
        assert "The detector was taken out of service because of it." in told
        in_order(phone.page)
        look(phone.page, "trial-waiting")
        assert kept(phone) == [["answered", "settled"], ["answered", "waiting"]]
        assert site.written(one) + site.written(other) == []


def test_what_breaks_on_the_servers_side_is_said_and_sent_again(trusting: Browser, site: Site) -> None:
    with in_hand(trusting, site) as phone:
        code = phone.new()
        site.desk(
            'connection.cursor().execute("CREATE TRIGGER broken BEFORE INSERT ON store_entry'
            " BEGIN SELECT RAISE(ABORT, 'the disk is gone'); END\")"
        )
        try:
            phone.plain(code)
            phone.became("not yet in the book")
            phone.button("To the beginning")
            phone.page.get_by_text("The server could not take it now. It is tried again later.").wait_for()
            in_order(phone.page)
            look(phone.page, "trial-stopped")
        finally:
            site.desk('connection.cursor().execute("DROP TRIGGER broken")')
        phone.button("Send now")
        phone.page.get_by_text("Everything written here was sent.").wait_for()
        assert len(site.written(code)) == 1


def test_a_clock_a_day_ahead_writes_a_pass_that_does_not_count_and_a_fail_that_does(
    trusting: Browser, site: Site
) -> None:
    with in_hand(trusting, site, ahead_by(DAY_S)) as phone:
        code, bad = phone.new(), phone.new()
        phone.plain(code)
        phone.became("it does not count: the clock of this phone is wrong")
        assert phone.page.locator(".stamp--may-go-out").count() == 0
        look(phone.page, "trial-not-counted")
        phone.button("To the beginning")
        fails(phone, bad)
        phone.page.locator(".stamp--out-of-service").wait_for()
        [leaf] = site.written(code)
        assert abs(float(leaf.body["phone"]["ahead_s"]) - DAY_S) < 5


def test_a_clock_a_day_behind_writes_yesterdays_pass_which_is_no_yes(trusting: Browser, site: Site) -> None:
    with in_hand(trusting, site, ahead_by(-DAY_S)) as phone:
        code = phone.new()
        phone.plain(code)
        phone.became("in the book, number")
        phone.page.locator(".stamp--not-yet").wait_for()
        look(phone.page, "trial-behind")
        assert len(site.written(code)) == 1


def test_a_storage_that_is_full_is_said_and_the_test_is_still_there(trusting: Browser, site: Site) -> None:
    with in_hand(trusting, site) as phone:
        code = phone.new()
        phone.to_gas(code)
        phone.gas(*CHANNELS)
        phone.button("Sound, light and vibration came")
        phone.button("Gas off")
        phone.button("Both are so")
        phone.page.evaluate(FULL)
        phone.button("Write it")
        phone.page.get_by_text("This phone could not keep it: its storage is full or closed.").wait_for()
        in_order(phone.page)
        look(phone.page, "trial-full")
        assert kept(phone) == []
        phone.page.evaluate("() => { IDBObjectStore.prototype.add = window.added; }")
        phone.button("Write it")
        phone.became("in the book, number")
        assert [leaf.body["outcome"] for leaf in site.written(code)] == ["passed"]


def test_two_phones_on_one_detector_and_the_fail_wins(trusting: Browser, site: Site) -> None:
    with in_hand(trusting, site) as one, in_hand(trusting, site) as other:
        code = one.new()
        one.context.set_offline(True)
        fails(one, code)
        one.became("not yet in the book")
        other.plain(code)
        other.page.locator(".stamp--may-go-out").wait_for()
        one.context.set_offline(False)
        one.page.locator(".stamp--out-of-service").wait_for()
        other.button("To the beginning")
        asks_again(other)
        other.look_up(code)
        other.page.locator(".stamp--out-of-service").wait_for()
        assert sorted(leaf.body["outcome"] for leaf in site.written(code)) == ["failed", "passed"]


def test_what_the_keeper_did_meanwhile_is_the_answer_to_a_pass(trusting: Browser, site: Site) -> None:
    """Out of service meanwhile, and training that lapsed: both passes are in the book, neither is a yes."""
    with in_hand(trusting, site) as phone:
        taken, untrained = phone.new(), phone.new()
        phone.context.set_offline(True)
        phone.plain(taken)
        out = {"kind": "out-of-service", "detector": f"detector:{taken}", "because": "damaged"}
        site.desk(f"write({out}, keeper)")
        back_online(phone)
        phone.page.locator(".stamp--out-of-service").wait_for()
        phone.became("in the book, number")
        look(phone.page, "trial-out-meanwhile")
        phone.button("To the beginning")
        be(phone, "Rui Marrel (P-07)")
        phone.context.set_offline(True)
        site.desk('write({**trained, "valid_until": "2020-01-01"}, keeper)')
        phone.plain(untrained)
        back_online(phone)
        phone.became("in the book, number")
        phone.page.locator(".stamp--not-yet").wait_for()
        assert phone.page.locator(".stamp--may-go-out").count() == 0
        look(phone.page, "trial-untrained")
        assert [len(site.written(code)) for code in (taken, untrained)] == [1, 1]


def test_a_phone_whose_registration_ended_still_sends_and_is_told_that_it_waits(
    trusting: Browser, site: Site
) -> None:
    with in_hand(trusting, site) as phone:
        code = phone.new()
        phone.context.set_offline(True)
        fails(phone, code)
        device = phone.page.evaluate(
            "async () => (await (await import('/static/pitbird/field/keep.js')).get('device')).code"
        )
        site.desk(f'phones.end("device:{device}", "lost", keeper)')
        phone.context.set_offline(False)
        phone.became("this phone's registration was ended")
        told = phone.page.locator("#became").inner_text()
        assert "The detector was taken out of service because of it." in told
        asks_again(phone)
        phone.page.get_by_text("What is written on it waits for the keeper.").wait_for()
        in_order(phone.page)
        look(phone.page, "trial-ended")
        assert site.written(code) == []
        assert kept(phone) == [["answered", "waiting"]]


# --- The server away

WAITING = "import django; django.setup()\nfrom pitbird.services import waiting\nprint(len(waiting.waiting()))"


@contextmanager
def another_book(site: Site, home: Path) -> Iterator[str]:
    """The server at the same address on another book; the session of its keeper."""
    session = python(home, FILL).strip()
    shutil.copytree(site.home / "trial-authority", home / "trial-authority")
    site.start(home)
    try:
        yield session
    finally:
        site.stop()


MANY = """async ({codes, many}) => {
    const keep = await import('/static/pitbird/field/keep.js');
    const {write} = await import('/static/pitbird/field/sending.js');
    const {uuid7} = await import('/static/pitbird/field/ids.js');
    const [first] = await keep.entries();
    for (let n = 1; n < many; n += 1) {
        const code = codes[n % codes.length];
        const body = {...first.body, id: uuid7(), detector: `detector:${code}`,
                      about: [`detector:${code}`, 'cylinder:C-112']};
        await write(body, {book: first.book, shown: {code, reasons: []}});
    }
    return (await keep.entries()).filter((each) => each.state === "unsent").length;
}"""


def test_a_server_that_was_away_for_a_day_takes_two_hundred_tests_once_each_from_two_windows(
    trusting: Browser, site: Site
) -> None:
    with in_hand(trusting, site) as phone:
        code = phone.new()
        before = len(site.leaves())
        site.stop()
        phone.plain(code)
        phone.became("not yet in the book")
        codes = [f"F-{number:03}" for number in range(30, 40)]
        assert phone.page.evaluate(MANY, {"codes": codes, "many": 200}) == 200
        phone.button("To the beginning")
        phone.page.reload()
        phone.heading("Which detector?")
        assert phone.page.locator("#unsent").inner_text() == "Not yet in the book: 200"
        look(phone.page, "trial-two-hundred")
        site.start()
        second = phone.opened()
        second.goto(f"{site.address}/field/")
        asks_again(phone)
        second.evaluate("window.dispatchEvent(new Event('online'))")
        all_answered(phone)
        assert len(site.leaves()) == before + 200
        assert site.twice() == []
        again = phone.page.evaluate("""async () => {
            const entries = await (await import('/static/pitbird/field/keep.js')).entries();
            const sent = entries.map(({body, signature}) => ({body, signature}));
            const answer = await fetch('/api/field/entries', {method: "POST",
                headers: {"Content-Type": "application/json"}, body: JSON.stringify({entries: sent})});
            return [...new Set((await answer.json()).entries.map((each) => each.status))];
        }""")
        assert again == ["already"]
        assert len(site.leaves()) == before + 200


def test_another_book_at_the_same_address_gets_nothing_and_what_was_not_sent_stays(
    trusting: Browser, site: Site, tmp_path: Path
) -> None:
    with in_hand(trusting, site) as phone:
        code = phone.new()
        site.stop()
        fails(phone, code)
        phone.became("not yet in the book")
        with another_book(site, tmp_path) as session:
            phone.context.add_cookies([{"name": "pitbird-session", "value": session, "url": site.address}])
            asks_again(phone)
            phone.page.get_by_text("The server now keeps another book.").wait_for()
            phone.page.reload()
            phone.page.get_by_text(
                "The server keeps another book. Nothing was sent; ask the keeper."
            ).wait_for()
            in_order(phone.page)
            look(phone.page, "trial-other-book")
            assert kept(phone) == [["unsent", ""]]
            assert python(tmp_path, WAITING).strip() == "0"
        site.start()
        phone.context.clear_cookies(name="pitbird-session")
        phone.page.reload()
        all_answered(phone)
        assert [leaf.body["outcome"] for leaf in site.written(code)] == ["failed"]


# --- The browser killed


ANSWERED = """async () => (await (await import('/static/pitbird/field/keep.js')).get('test'))
    .facts.applications[0].channels"""


def kill(profile: Path) -> None:
    """Kill the browser that uses a profile as the system does when memory is short: at once, all of it."""
    for folder in Path("/proc").iterdir():
        try:
            words = (folder / "cmdline").read_bytes().split(b"\0")
        except OSError:
            continue
        mine = f"--user-data-dir={profile}".encode() in words
        if mine and not any(word.startswith(b"--type=") for word in words):
            os.kill(int(folder.name), signal.SIGKILL)
            return
    pytest.fail("the browser of this profile was not found")


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="processes are found in /proc")
def test_a_browser_killed_in_mid_test_and_again_before_sending_loses_nothing(
    browser: Browser, chromium: str, site: Site, tmp_path: Path
) -> None:
    def opened() -> Phone:
        context = browser.browser_type.launch_persistent_context(
            str(tmp_path), executable_path=chromium, args=arguments(site), **HAND
        )
        return held(context, site)

    phone = opened()
    phone.ready()
    phone.context.close()  # a browser writes cookies down within half a minute, or when it is closed
    phone = opened()
    phone.page.goto(f"{site.address}/field/")
    phone.heading("Which detector?")
    code = phone.new()
    phone.to_gas(code)
    phone.gas("CH4", "O2")
    phone.page.get_by_role("button", name=re.compile("^O2 came after")).wait_for()
    while len(phone.page.evaluate(ANSWERED)) < 2:  # a tap is shown at once and kept some milliseconds later
        phone.page.wait_for_timeout(20)
    kill(tmp_path)
    phone = opened()
    phone.page.goto(f"{site.address}/field/")
    phone.heading(f"A test of {code} was left off")
    phone.button("Go on with it")
    phone.button("CO came")
    phone.button("H2S came")
    phone.button("Sound, light and vibration came")
    phone.button("Gas off")
    phone.button("Both are so")
    phone.context.set_offline(True)
    phone.button("Write it")
    phone.heading(f"{code}: written on this phone")
    kill(tmp_path)
    assert site.written(code) == []
    phone = opened()
    phone.page.goto(f"{site.address}/field/")
    phone.page.get_by_text("Everything written here was sent.").wait_for()
    phone.context.close()
    [leaf] = site.written(code)
    assert leaf.body["outcome"] == "passed"
    assert [each["reached"] for each in leaf.body["applications"][0]["channels"]] == ["yes"] * 4


# --- Hands, eyes and ears


def test_sound_vibration_and_the_screen_kept_awake_go_with_the_gas_and_can_be_turned_off(
    trusting: Browser, site: Site
) -> None:
    def asked(phone: Phone) -> list[str]:
        found: list[str] = phone.page.evaluate("asked.splice(0)")
        return found

    with in_hand(trusting, site, STUBS) as phone:
        phone.to_gas(phone.new())
        assert asked(phone) == []
        phone.button("Gas on")
        phone.heading("gas is on")
        assert asked(phone) == ["awake screen", "vibrate", "audio", "tone"]
        phone.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        assert asked(phone) == ["awake screen"], "the device lets go of the screen when the page is hidden"
        phone.button("CH4 came")
        assert asked(phone) == ["vibrate", "tone"]
        phone.button("O2: did not")
        assert asked(phone) == ["vibrate", *["tone"] * 4]
        phone.button("Take back the last")
        for channel in ("O2", "CO", "H2S"):
            phone.button(f"{channel} came")
        phone.button("Sound, light and vibration came")
        asked(phone)
        phone.button("Gas off")
        assert asked(phone) == ["asleep", "vibrate", "tone"]
        phone.button("Both are so")
        phone.button("Write it")
        phone.heading("written on this phone")
        assert asked(phone) == ["vibrate", "tone", "tone"]
        phone.button("To the beginning")
        phone.button("Sound, vibration, language, signing out")
        phone.button("Sound")
        phone.button("Vibration")
        phone.button("Back")
        phone.page.reload()
        phone.look_up(phone.new())
        phone.button("Test it with C-112")
        phone.button("All of these are well")
        phone.button("Gas on")
        phone.button("CH4 came")
        phone.button("Hood slipped")
        assert asked(phone) == ["awake screen", "asleep"]


def test_the_seconds_to_the_slowest_alarm_run_down_and_then_it_is_late(trusting: Browser, site: Site) -> None:
    """t90 of 20 s and 2 % of tolerance on the certificate or none: the figures are the snapshot's own, which
    are held against worked examples elsewhere; here it is asked that the screen tells them."""
    with in_hand(trusting, site) as phone:
        told = phone.page.evaluate("async () => (await fetch('/api/field/snapshot')).json()")
        row = next(each for each in told["detectors"] if each["code"] == "T-000")
        gas = told["types"][row["type"]]["gas"]["C-112"]
        seconds = {name: each["lean_s"] for name, each in gas["channels"].items()}
        last = max(seconds, key=lambda name: seconds[name])
        phone.look_up("T-000")
        assert phone.page.get_by_text("How long its alarms take is not known here.").count() == 0
        phone.button("Test it with C-112")
        phone.button("All of these are well")
        phone.page.get_by_text(f"Leave it on for {gas['needed_s']} s at least").wait_for()
        phone.page.clock.install()
        phone.button("Gas on")
        slowest = phone.page.locator("[data-slowest]")
        phone.page.clock.run_for(3_000)
        slowest.filter(
            has_text=re.compile(f"^{last} should come within {round(seconds[last]) - 3}")
        ).wait_for()
        look(phone.page, "trial-seconds")
        phone.page.clock.run_for(int(seconds[last] * 1000) + 2_000)
        slowest.filter(has_text=re.compile(f"^{last} is late by [2-6] s")).wait_for()
        for channel in CHANNELS:
            phone.button(f"{channel} came")
        phone.page.clock.run_for(1_500)
        in_order(phone.page)


def test_the_keyboard_alone_is_enough_for_a_whole_passing_test(trusting: Browser, site: Site) -> None:
    context = trusting.new_context(viewport={"width": 1024, "height": 768})
    phone = held(context, site)
    keys = phone.page.keyboard
    strokes = 0

    def stroke(name: str, key: str = "Enter") -> None:
        """Tab until something of this name has the focus, as a person does, and press."""
        nonlocal strokes
        for _ in range(60):
            found = phone.page.evaluate(
                """() => { const on = document.activeElement;
                    if (on.tagName === "H1") return "";
                    return on.ariaLabel || on.labels?.[0]?.textContent || on.textContent; }"""
            )
            if found.strip().startswith(name):
                ring = phone.page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
                assert ring != "none", f"the focus on {name} is not seen"
                phone.page.locator(":focus:not([disabled])").wait_for()
                keys.press(key)
                return
            keys.press("Tab")
            strokes += 1
        raise AssertionError(f"{name} cannot be reached by Tab")

    def typed(text: str) -> None:
        keys.type(text)
        keys.press("Enter")

    code = phone.new()
    phone.page.goto(f"{site.address}/field/pair#{next(site.links)}")
    phone.heading("Register this phone?")
    phone.page.wait_for_timeout(300)
    stroke("Register this phone")
    phone.heading("Registered as")
    phone.page.wait_for_timeout(300)
    stroke("Go on")
    phone.heading("Who holds this phone?")
    stroke("Ilda Fontanova (K-1)")
    phone.page.get_by_label("PIN of").wait_for()
    stroke("PIN of", "End")
    typed(PIN)
    phone.heading("Which detector?")
    stroke("Code or serial number", "End")
    typed(code)
    phone.heading(code)
    for name, then in (
        ("Test it with C-112", "before gas"), ("All of these are well", "gas from C-112"),
        ("Gas on", "gas is on"),
    ):  # fmt: skip
        phone.page.wait_for_timeout(300)
        stroke(name)
        phone.heading(then)
    for channel in CHANNELS:
        stroke(f"{channel} came")
        phone.page.get_by_role("button", name=re.compile(f"^{channel} came after")).wait_for()
    stroke("Sound, light and vibration came")
    phone.page.wait_for_timeout(1_100)
    for name, then in (
        ("Gas off", "after gas"), ("Both are so", "what it came to"), ("Write it", "written on this phone"),
    ):  # fmt: skip
        stroke(name)
        phone.heading(then)
        phone.page.wait_for_timeout(300)
    phone.became("in the book, number")
    assert [leaf.body["outcome"] for leaf in site.written(code)] == ["passed"]
    stroke("Next detector", "End")
    typed(phone.new())
    phone.heading("F-0")
    context.close()
    assert phone.faults == []


def test_every_screen_is_fit_for_everybody_on_a_narrow_dark_phone_and_on_a_tablet(
    trusting: Browser, site: Site
) -> None:
    """At 390 px in daylight each step is looked at in the tests of the page; here at both ends."""

    def seen(name: str) -> None:
        for width, scheme in ((320, "dark"), (768, "light")):
            phone.page.set_viewport_size({"width": width, "height": 844})
            phone.page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            phone.page.wait_for_timeout(200)  # colours go over from one scheme to the other
            in_order(phone.page)
            picture(phone, f"{name}-{width}-{scheme}")
        phone.page.set_viewport_size({"width": 390, "height": 844})

    context = trusting.new_context(**HAND)
    phone = held(context, site)
    phone.page.goto(f"{site.address}/field/")
    phone.heading("This phone is not registered.")
    seen("unpaired")
    phone.page.goto(f"{site.address}/field/pair#{next(site.links)}")
    phone.page.reload()
    seen("pair")
    phone.button("Register this phone")
    phone.heading("Registered as")
    seen("paired")
    phone.button("Go on")
    seen("who")
    phone.button("Ilda Fontanova (K-1)")
    seen("pin")
    phone.page.get_by_label("PIN of").fill(PIN)
    phone.button("Go on")
    phone.heading("Which detector?")
    seen("start")
    phone.look_up("F-0")
    seen("unknown")
    phone.look_up("T-001", "Code or serial number")
    phone.page.get_by_text("Another cylinder").tap()
    seen("detector")
    phone.button("Test it with C-112")
    phone.button("CO reads 0 ppm in clean air: Not well", exact=False)
    seen("checks")
    phone.button("CO reads 0 ppm in clean air: Not well", exact=False)
    phone.button("All of these are well")
    seen("before-gas")
    phone.gas("CH4", "H2S")
    phone.button("CO: did not")
    seen("gas-on")
    phone.button("Gas off")
    seen("after")
    phone.button("Both are so")
    seen("end")
    phone.button("Write it")
    phone.became("in the book, number")
    seen("written")
    phone.button("To the beginning")
    seen("start-written")
    phone.button("Sound, vibration, language, signing out")
    seen("settings")
    phone.button("Sign out of this phone")
    phone.page.get_by_text("Signed out.").wait_for()
    seen("out")
    context.close()
    assert phone.faults == []


def picture(phone: Phone, name: str) -> None:
    """Keep a picture where the developer asked for it (PITBIRD_TEST_PICTURES=folder)."""
    if folder := os.environ.get("PITBIRD_TEST_PICTURES"):
        phone.page.screenshot(path=f"{folder}/trial-{name}.png")
