"""The bump test page in a real browser, at the width of a phone, by touch: a whole test from gas to stamp."""

import os
import re
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

import run
from pitbird.fleet.times import ms_of
from pitbird.record.leaf import read_leaf
from pitbird.services import clock
from tests.web.test_pages_browser import environment, served

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator, Page

pytestmark = [pytest.mark.browser, pytest.mark.slow]

AXE = Path(__file__).parent.parent / "vendor" / "axe-core" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
CHANNELS = ("CH4", "O2", "CO", "H2S")
WIDTHS = (390, 320)


FILL = """
import django
django.setup()
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.auth.models import User
from django.contrib.sessions.backends.db import SessionStore
from django.core.management import call_command
call_command("migrate", verbosity=0)
from tests.web.bump_book import begin
begin(spare=40)
user = User.objects.get()
session = SessionStore()
session[SESSION_KEY] = str(user.pk)
session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
session[HASH_SESSION_KEY] = user.get_session_auth_hash()
session.create()
print(session.session_key)
"""


#: The tests share their gas: where two failed on it in a row, the next one would ask about the gas first.
ANSWER = """
import django; django.setup()
from pitbird.fleet.state import CylinderState
from pitbird.fleet.times import Ms, text_of
from pitbird.services import clock
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor, write
keeper = Actor("person:K-1", "site:north-works", "Europe/Lisbon")
for gas in Now().all_of(CylinderState):
    asked = [failure for failure in gas.failures if failure.until is None]
    if asked:
        # The phone's clock runs ahead while its gas is on: what answers a test comes after it.
        at = text_of(Ms(max([clock.now(), *(failure.at + 1 for failure in asked)])))
        answers = [failure.entry for failure in asked]
        write({"kind": "cylinder-released", "cylinder": gas.subject, "answers": answers, "at": at}, keeper)
"""


@dataclass(frozen=True)
class Site:
    """A real server on a small book, a signed-in session, and detectors that no test has used yet."""

    address: str
    session: str
    home: Path
    spare: Iterator[int]

    def answer_for_the_gas(self) -> None:
        """Release the cylinders on which a test failed, as a keeper would who found the gas to be good."""
        done = subprocess.run(
            [sys.executable, "-c", ANSWER],
            env=environment(self.home),
            cwd=run.ROOT,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr

    def newest(self, detector: str) -> dict[str, Any]:
        """The body of the latest entry about a detector, read from the book itself."""
        with closing(sqlite3.connect(f"file:{self.home / 'book.sqlite3'}?mode=ro", uri=True)) as database:
            (leaf,) = database.execute(
                'SELECT e.leaf FROM store_mention m JOIN store_entry e ON e."index" = m."index" '
                "WHERE m.subject = ? ORDER BY m.nth DESC LIMIT 1",
                [f"detector:{detector}"],
            ).fetchone()
        return read_leaf(leaf.encode()).body


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    home = tmp_path_factory.mktemp("home")
    filled = subprocess.run(
        [sys.executable, "-c", FILL],
        env=environment(home),
        cwd=run.ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert filled.returncode == 0, filled.stderr
    with served(home) as address:
        yield Site(address, filled.stdout.strip(), home, iter(range(40)))


class Phone:
    """A phone in a gloved hand: taps are counted, and every step is looked at as it appears."""

    def __init__(self, page: "Page", site: Site) -> None:
        self.page, self.site, self.taps = page, site.address, 0
        number = next(site.spare)
        self.four, self.five = f"F-{number:03}", f"X-{number:03}"
        self.book = site

    def written(self, code: str | None = None) -> dict[str, Any]:
        """What the latest entry about this test's detector says."""
        return self.book.newest(code or self.four)

    def tap(self, target: "Locator") -> None:
        target.tap()
        self.taps += 1

    def button(self, name: str) -> None:
        self.tap(self.page.get_by_role("button", name=name, exact=True))

    def answer(self, question: str, answer: str) -> None:
        group = self.page.get_by_role("group", name=re.compile(question)).locator("visible=true")
        self.tap(group.locator("label", has_text=re.compile(answer)))

    def open(self, code: str | None = None) -> None:
        self.page.goto(f"{self.site}/test/{code or self.four}")

    def reach_gas(self, code: str | None = None) -> None:
        self.open(code)
        self.button("Go on to the checks")
        self.button("All of these are well")
        self.button("Go on to the gas")

    def came(self, *channels: str) -> None:
        for channel in channels:
            self.answer(f"^{channel}: ", "reached its")

    def signals(self, *silent: str) -> None:
        for signal in ("Sound", "Light", "Vibration"):
            self.answer(f"^{signal}$", "did not" if signal in silent else "came")

    def cleared(self) -> None:
        self.answer("Readings are back", "yes")
        self.answer("Peaks and", "yes")

    def outcome(self) -> str:
        return self.page.locator("#outcome").inner_text()

    def write(self) -> None:
        self.button("Write it in the book")
        self.page.wait_for_url("**written=*")


@pytest.fixture(params=WIDTHS, ids=lambda width: f"{width}px")
def phone(browser: "Browser", site: Site, request: pytest.FixtureRequest) -> Iterator[Phone]:
    yield from hold(browser, site, request.param)


@pytest.fixture
def one_phone(browser: "Browser", site: Site) -> Iterator[Phone]:
    yield from hold(browser, site, WIDTHS[0])


def hold(browser: "Browser", site: Site, width: int, **options: Any) -> Iterator[Phone]:
    context = browser.new_context(
        viewport={"width": width, "height": 844},
        has_touch=True,
        is_mobile=True,
        device_scale_factor=2,
        **options,
    )
    context.set_default_timeout(45_000)  # a busy machine may hold a frame back for long
    context.add_cookies([{"name": "pitbird-session", "value": site.session, "url": site.address}])
    page = context.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on(
        "console", lambda said: faults.append(said.text) if "Content Security Policy" in said.text else None
    )
    yield Phone(page, site)
    site.answer_for_the_gas()
    context.close()
    assert faults == []


def in_order(page: "Page") -> None:
    """What holds on every step: no axe-core finding, nothing to scroll sideways, targets of 48 px."""
    size = page.viewport_size
    assert size is not None
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    # The bar under the thumb covers what can be scrolled; axe-core is shown the page at its full height.
    page.set_viewport_size({"width": size["width"], "height": 3200})
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate(
        """(tags) => axe.run(document, {runOnly: {type: 'tag', values: tags}}).then((all) =>
            all.violations.map((each) => `${each.id}: ${each.nodes.map((node) => node.html)}`))""",
        RULES,
    )
    page.set_viewport_size(size)
    assert found == []
    small = page.evaluate(
        """(targets) => [...document.querySelectorAll(targets)]
            .filter((each) => each.checkVisibility())
            .map((each) => [each.outerHTML.slice(0, 90), each.getBoundingClientRect()])
            .filter(([, box]) => box.width > 1 && (box.height < 47.5 || box.width < 47.5))
            .map(([html, box]) => `${html} ${box.width}x${box.height}`)""",
        "main :is(button, select, summary, textarea, label:has(input), input:not([type=radio]))",
    )
    assert small == []


def look(page: "Page", name: str) -> None:
    """Keep a picture of a step where the developer asked for it (PITBIRD_TEST_PICTURES=folder)."""
    folder = os.environ.get("PITBIRD_TEST_PICTURES")
    if folder:
        width = page.viewport_size["width"] if page.viewport_size else 0
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            page.wait_for_timeout(200)
            page.screenshot(path=f"{folder}/{name}-{width}-{scheme}.png", full_page=False)
        page.emulate_media(color_scheme="light")
        page.wait_for_timeout(200)


def test_a_plain_passing_four_gas_test_takes_at_most_sixteen_taps(phone: Phone) -> None:
    phone.open()
    assert not phone.page.locator("#offer").is_visible()
    in_order(phone.page)
    look(phone.page, "1-start")
    phone.button("Go on to the checks")
    in_order(phone.page)
    look(phone.page, "2-checks")
    phone.button("All of these are well")
    assert phone.page.locator("input:checked[value=yes]").count() == 7 + 4
    look(phone.page, "3-checks-well")
    phone.button("Go on to the gas")
    in_order(phone.page)
    look(phone.page, "4-before-gas")
    phone.button("Gas on")
    phone.came("H2S", "CO")
    look(phone.page, "5-gas-on")
    in_order(phone.page)
    phone.came("CH4", "O2")
    phone.signals()
    phone.button("Gas off")
    look(phone.page, "6-after")
    phone.cleared()
    assert "PASSED" in phone.outcome().upper()
    in_order(phone.page)
    look(phone.page, "7-passed")
    phone.write()
    in_order(phone.page)
    look(phone.page, "8-written")
    assert phone.taps <= 16
    assert phone.page.locator(".answer .stamp--may-go-out").is_visible()
    body = phone.written()
    (application,) = body["applications"]
    assert body["outcome"] == "passed"
    assert [shown["reached"] for shown in application["channels"]] == ["yes"] * 4
    gas_s = (ms_of(application["gas_off"]) - ms_of(application["gas_on"])) / 1000
    assert all(0 <= float(shown["after_s"]) <= gas_s for shown in application["channels"])
    assert abs(ms_of(application["gas_off"]) - clock.now()) < 60_000


def test_an_alarm_that_does_not_come_is_said_plainly_before_and_after_writing(phone: Phone) -> None:
    phone.reach_gas()
    phone.button("Gas on")
    phone.came("CH4", "O2", "CO")
    phone.answer("^H2S: ", "did not come")
    phone.signals()
    phone.button("Gas off")
    phone.cleared()
    assert "Do not use it. Tag it. Do not start the work that needs it." in phone.outcome()
    assert "H2S did not reach its alarm." in phone.outcome()
    in_order(phone.page)
    look(phone.page, "fail-1-outcome")
    phone.write()
    assert phone.written()["outcome"] == "failed"
    assert phone.page.locator(".answer .stamp--out-of-service").is_visible()
    assert phone.page.get_by_text("Do not use it. Tag it.").is_visible()
    in_order(phone.page)
    look(phone.page, "fail-2-written")
    phone.open()
    in_order(phone.page)
    assert phone.page.get_by_text("This detector is out of service.").is_visible()
    look(phone.page, "fail-3-again")


def test_a_spoiled_try_is_one_tap_and_another_try_follows(phone: Phone) -> None:
    phone.reach_gas()
    phone.button("Gas on")
    phone.came("CH4")
    taps = phone.taps
    phone.tap(phone.page.locator("label", has_text="Hood slipped"))
    assert phone.taps == taps + 1
    assert "SPOILED" in phone.outcome().upper()
    in_order(phone.page)
    look(phone.page, "spoiled-1-outcome")
    phone.write()
    body = phone.written()
    assert (body["outcome"], body["spoiled_because"]) == ("spoiled", "hood-slipped")
    assert body["applications"][0]["gas_off"] > body["applications"][0]["gas_on"]
    in_order(phone.page)
    look(phone.page, "spoiled-2-written")
    phone.page.get_by_role("link", name="Try again").tap()
    phone.button("Go on to the checks")
    phone.button("All of these are well")
    phone.button("Go on to the gas")
    phone.button("Gas on")
    phone.came(*CHANNELS)
    phone.signals()
    phone.button("Gas off")
    phone.cleared()
    phone.write()
    assert phone.written()["outcome"] == "passed"


def test_two_cylinders_are_shown_one_after_the_other(phone: Phone) -> None:
    phone.open(phone.five)
    in_order(phone.page)
    look(phone.page, "two-1-start")
    phone.button("Go on to the checks")
    phone.button("All of these are well")
    phone.button("Go on to the gas")
    phone.button("Gas on")
    assert phone.page.locator("[data-channel]:visible").count() == 4
    phone.came(*CHANNELS)
    phone.signals()
    phone.button("Gas off")
    assert phone.page.get_by_role("heading", name="Gas 2 C-201").is_visible()
    in_order(phone.page)
    look(phone.page, "two-2-second")
    phone.button("Gas on")
    assert phone.page.locator("[data-channel]:visible").count() == 1
    phone.came("CO2")
    phone.button("Gas off")
    phone.cleared()
    phone.write()
    body = phone.written(phone.five)
    assert body["outcome"] == "passed"
    assert [each["cylinder"] for each in body["applications"]] == ["cylinder:C-112", "cylinder:C-201"]
    assert [each["channel"] for each in body["applications"][1]["channels"]] == ["CO2"]


def test_a_channel_that_nobody_answered_can_be_given_gas_again(one_phone: Phone) -> None:
    phone = one_phone
    phone.reach_gas()
    phone.button("Gas on")
    phone.came("CH4", "O2", "CO")
    phone.signals()
    phone.button("Gas off")
    phone.cleared()
    assert "SPOILED" in phone.outcome().upper()
    phone.button("Give gas again")
    phone.button("Gas on")
    assert phone.page.locator("[data-channel]:visible").count() == 1
    phone.came("H2S")
    phone.button("Gas off")
    phone.write()
    body = phone.written()
    assert body["outcome"] == "passed"
    assert [each["cylinder"] for each in body["applications"]] == ["cylinder:C-112"] * 2


def test_a_mistaken_tap_is_taken_back(one_phone: Phone) -> None:
    phone = one_phone
    phone.reach_gas()
    phone.button("Gas on")
    phone.came("CH4", "O2")
    phone.answer("^CO: ", "did not come")
    phone.button("Take back the last")
    assert phone.page.locator("input[name^=reach-0]:checked").count() == 2
    phone.came("CO", "H2S")
    phone.signals()
    phone.button("Gas off")
    phone.cleared()
    phone.write()
    assert phone.written()["outcome"] == "passed"


def test_a_reload_while_gas_is_on_loses_nothing(one_phone: Phone) -> None:
    phone = one_phone
    phone.reach_gas()
    entry = phone.page.locator("input[name=id]").input_value()
    phone.button("Gas on")
    phone.came("CH4", "O2")
    on = phone.page.locator("input[name=gas-0-on]").input_value()
    phone.page.reload()
    assert phone.page.get_by_text("begun here and not finished").is_visible()
    in_order(phone.page)
    look(phone.page, "reload-offer")
    phone.button("Go on with it")
    phone.came("CO", "H2S")
    phone.signals()
    phone.button("Gas off")
    phone.cleared()
    phone.write()
    body = phone.written()
    assert (body["outcome"], body["id"]) == ("passed", entry)
    assert body["applications"][0]["gas_on"] == on
    phone.open()
    assert not phone.page.get_by_text("begun here and not finished").is_visible()


def test_a_closed_test_can_be_recorded_as_broken_off(one_phone: Phone) -> None:
    phone = one_phone
    phone.reach_gas()
    phone.button("Gas on")
    phone.came("CH4")
    phone.open(phone.five)
    phone.open()
    phone.button("Record it as broken off")
    phone.write()
    body = phone.written()
    assert (body["outcome"], body["spoiled_because"]) == ("spoiled", "broken-off")


def test_a_second_tap_of_a_glove_does_not_shut_the_gas(one_phone: Phone) -> None:
    phone = one_phone
    phone.reach_gas()
    button = phone.page.locator("[data-do=next]:enabled")
    button.wait_for()
    button.evaluate("(it) => { it.click(); it.click(); }")
    assert button.inner_text() == "Gas off"
    assert phone.page.locator("input[name=gas-0-off]").input_value() == ""


def test_a_refused_form_shows_the_step_of_the_fault(one_phone: Phone) -> None:
    phone = one_phone
    phone.open()
    phone.page.get_by_label("Temperature here").fill("mild")
    phone.button("Go on to the checks")
    phone.button("All of these are well")
    phone.button("Go on to the gas")
    phone.button("Gas on")
    phone.came(*CHANNELS)
    phone.signals()
    phone.button("Gas off")
    phone.cleared()
    phone.button("Write it in the book")
    fault = phone.page.get_by_role("link", name=re.compile("Temperature here, °C: "))
    fault.wait_for()
    in_order(phone.page)
    look(phone.page, "refused")
    fault.tap()
    field = phone.page.get_by_label("Temperature here")
    assert field.input_value() == "mild"
    field.fill("12")
    phone.button("Go on to the checks")
    phone.button("Go on to the gas")
    phone.button("Go on")
    phone.write()
    assert (phone.written()["outcome"], phone.written()["temperature_c"]) == ("passed", "12")


def test_a_fail_before_gas_needs_no_gas(one_phone: Phone) -> None:
    phone = one_phone
    phone.open()
    phone.button("Go on to the checks")
    phone.button("All of these are well")
    phone.answer("Inlets and filter clear", "not well")
    assert phone.page.locator("[data-hint]").inner_text() == "Before gas, not well: Inlets and filter clear."
    phone.button("It fails already: go to the end")
    assert "Do not use it." in phone.outcome()
    phone.write()
    assert phone.written()["outcome"] == "failed"


def test_all_well_never_goes_over_a_no_or_a_date_that_is_past(one_phone: Phone) -> None:
    phone = one_phone
    phone.open()
    phone.page.get_by_label("Cylinder", exact=True).select_option("C-090")
    phone.button("Go on to the checks")
    phone.answer("Battery", "not well")
    phone.button("All of these are well")
    said = {
        check: phone.page.locator(f"input[name=check-{check}]:checked").evaluate_all(
            "(all) => all.map((it) => it.value)"
        )
        for check in ("whole_and_clean", "battery", "cylinder_in_date")
    }
    assert said == {"whole_and_clean": ["yes"], "battery": ["no"], "cylinder_in_date": []}


def test_a_clock_that_is_wrong_is_said_and_the_books_clock_is_used(one_phone: Phone) -> None:
    phone = one_phone
    phone.page.add_init_script(
        "const real = Date.now.bind(Date); const wrong = 20 * 60000;Date.now = () => real() + wrong;"
    )
    phone.open()
    assert "20 min away" in phone.page.locator("#clock-fault").inner_text()
    phone.button("Go on to the checks")
    phone.button("All of these are well")
    phone.button("Go on to the gas")
    phone.button("Gas on")
    phone.came(*CHANNELS)
    phone.signals()
    phone.button("Gas off")
    phone.cleared()
    phone.write()
    assert abs(ms_of(phone.written()["applications"][0]["gas_off"]) - clock.now()) < 60_000


def test_the_keyboard_alone_is_enough(one_phone: Phone) -> None:
    page = one_phone.page
    one_phone.open()

    def press(name: str) -> None:
        page.get_by_role("button", name=name, exact=True).focus()
        page.keyboard.press("Enter")

    def choose(question: str, number: int = 0) -> None:
        group = page.get_by_role("group", name=re.compile(question)).locator("visible=true")
        group.locator("input[type=radio]").nth(number).focus()
        page.keyboard.press("Space")

    press("Go on to the checks")
    assert page.evaluate("document.activeElement.textContent") == "Before gas"
    press("All of these are well")
    page.wait_for_timeout(300)
    press("Go on to the gas")
    page.wait_for_timeout(300)
    press("Gas on")
    for channel in CHANNELS:
        choose(f"^{channel}: ")
    for signal in ("Sound", "Light", "Vibration"):
        choose(f"^{signal}$")
    page.wait_for_timeout(1000)
    press("Gas off")
    choose("Readings are back")
    choose("Peaks and")
    press("Write it in the book")
    page.wait_for_url("**written=*")
    assert one_phone.written()["outcome"] == "passed"


def test_without_script_the_same_form_records_a_test(browser: "Browser", site: Site) -> None:
    for phone in hold(browser, site, WIDTHS[1], java_script_enabled=False):
        page = phone.page
        phone.open()
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        if os.environ.get("PITBIRD_TEST_PICTURES"):
            page.screenshot(path=f"{os.environ['PITBIRD_TEST_PICTURES']}/plain.png", full_page=True)
        for radio in page.locator("main input[type=radio][value=yes]:visible").all():
            if not (radio.get_attribute("name") or "").startswith("reach-1"):
                radio.check()
        page.get_by_label("Seconds of gas").first.fill("24")
        page.get_by_role("button", name="Write it in the book").click()
        page.wait_for_url("**written=*")
    assert phone.written()["outcome"] == "passed"


def test_the_page_stands_on_a_wide_screen_too(browser: "Browser", site: Site) -> None:
    for phone in hold(browser, site, 1280):
        phone.reach_gas(phone.five)
        phone.button("Gas on")
        in_order(phone.page)
        look(phone.page, "wide-gas")
        phone.came(*CHANNELS)
        phone.button("Gas off")
        phone.button("Back")
        phone.button("Back")
        in_order(phone.page)
        look(phone.page, "wide-back")


def test_choosing_by_scan_gun(phone: Phone) -> None:
    # A field with autofocus has the focus with the first frame, which may come after the page has loaded; a
    # person scans once there is something to see.
    ready = phone.page.locator("#detector:focus")
    phone.page.goto(f"{phone.site}/test")
    in_order(phone.page)
    look(phone.page, "0-choose")
    ready.wait_for()
    phone.page.keyboard.type("d-O17\n")
    phone.page.wait_for_url("**detector=d-O17")
    in_order(phone.page)
    look(phone.page, "0-choose-unknown")
    phone.page.goto(f"{phone.site}/test")
    ready.wait_for()
    phone.page.keyboard.type("d-017\n")
    phone.page.wait_for_url("**/test/D-017")
