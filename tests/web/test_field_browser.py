"""The field page in a real browser, at the width of a phone: paired, offline for real, written, sent."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

import run
from pitbird.fleet.times import ms_of
from pitbird.record.signature import verify_signature
from pitbird.services import clock
from tests.conftest import CHROMIUM_ARGS
from tests.web.field_phone import BEGIN, LINKS, PIN, Phone, Site, new_phone, phone, python, shelf
from tests.web.test_bump_browser import CHANNELS, in_order, look
from tests.web.test_pages_browser import served

if TYPE_CHECKING:
    from playwright.sync_api import Browser

__all__ = ["new_phone", "phone", "shelf"]

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    home = tmp_path_factory.mktemp("home")
    python(home, BEGIN)
    links = python(home, LINKS).split()
    with served(home) as address:
        yield Site(address, home, iter(links), iter(range(40)))


# --- The shell, the phone's key, and working without network


def test_a_phone_that_no_keeper_registered_says_how_it_is_done(new_phone: Phone) -> None:
    new_phone.page.goto(f"{new_phone.site.address}/field/")
    new_phone.heading("This phone is not registered.")
    assert new_phone.page.get_by_text("The keeper makes a link").is_visible()
    in_order(new_phone.page)


def test_pairing_shows_the_figures_that_the_keepers_page_shows_and_the_secret_leaves_the_address(
    new_phone: Phone,
) -> None:
    new_phone.pair()
    look(new_phone.page, "field-paired")
    in_order(new_phone.page)
    shown = new_phone.page.locator(".field-figures").inner_text()
    assert new_phone.page.url == f"{new_phone.site.address}/field/"
    snapshot = new_phone.context.request.get(f"{new_phone.site.address}/api/field/snapshot").json()
    assert snapshot["device"]["fingerprint"] == shown


def test_a_used_link_says_so(new_phone: Phone) -> None:
    secret = next(new_phone.site.links)
    new_phone.page.goto(f"{new_phone.site.address}/field/pair#{secret}")
    new_phone.button("Register this phone")
    new_phone.heading("Registered as")
    new_phone.page.goto(f"{new_phone.site.address}/field/pair#{secret}")
    new_phone.page.reload()
    new_phone.button("Register this phone")
    new_phone.page.get_by_text("This link is unknown, was used, or is over.").wait_for()


def test_from_the_second_visit_on_the_page_starts_without_network(new_phone: Phone) -> None:
    new_phone.ready()
    new_phone.context.set_offline(True)
    new_phone.close()
    new_phone.page = new_phone.opened()
    new_phone.page.goto(f"{new_phone.site.address}/field/")
    new_phone.heading("Which detector?")
    new_phone.look_up("D-017")
    new_phone.heading("D-017")
    assert new_phone.page.get_by_text("The server's last answer").is_visible()


def test_the_private_key_cannot_be_taken_out_of_the_phone(phone: Phone) -> None:
    said = phone.page.evaluate("""async () => {
        const {keys} = await import("/static/pitbird/field/signing.js");
        const {privateKey} = await keys();
        const out = crypto.subtle.exportKey("jwk", privateKey);
        const refused = await out.then(() => "exported", (e) => e.name);
        return [privateKey.extractable, refused];
    }""")
    assert said == [False, "InvalidAccessError"]


def test_what_is_signed_is_the_text_of_rfc_8785(phone: Phone) -> None:
    import rfc8785

    value: Any = {
        "b": [1, True, None, "\u20ac$\u000f\nA'B\"\\\\\"/"], "a": {"": "é", "Z": 0, "z": -5},
        "aa": 9007199254740991,
    }  # fmt: skip
    found = phone.page.evaluate(
        "async (value) => (await import('/static/pitbird/field/canonical.js')).canonical(value)", value
    )
    assert found.encode() == rfc8785.dumps(value)


@pytest.mark.parametrize(
    "value", ["1.5", "2 ** 53", "-0", "{'é': 1}", "'\\ud800'", "undefined", "new Date(0)"]
)
def test_what_a_book_does_not_hold_is_not_signed(phone: Phone, value: str) -> None:
    refused = phone.page.evaluate(
        f"""async () => {{ const {{canonical}} = await import('/static/pitbird/field/canonical.js');
        try {{ canonical([{value}]); return ""; }} catch (error) {{ return error.name; }} }}"""
    )
    assert refused == "TypeError"


def test_ids_are_uuids_of_version_7(phone: Phone) -> None:
    # RFC 9562, appendix A.6: 017F22E2-79B0-7CC3-98C4-DC0C0C07398F is of 2022-02-22 19:22:22 UTC.
    found = phone.page.evaluate("""async () => {
        const {uuid7} = await import('/static/pitbird/field/ids.js');
        const random = [0x0c, 0xc3, 0x18, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f];
        return uuid7(1645557742000, Uint8Array.from(random));
    }""")
    assert found == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


# --- A test


def test_a_plain_passing_four_gas_test_takes_at_most_twelve_taps_and_is_in_the_book(phone: Phone) -> None:
    code = phone.new()
    phone.plain(code)
    assert phone.taps <= 12
    phone.became("in the book, number")
    phone.page.locator(".stamp--may-go-out").wait_for()
    [leaf] = phone.site.written(code)
    body = leaf.body
    assert (body["outcome"], body["by"], body["where"]) == ("passed", "person:K-1", "site:north-works")
    assert body["phone"]["known_by"] == "pin"
    assert [each["reached"] for each in body["applications"][0]["channels"]] == ["yes"] * 4
    assert abs(ms_of(body["at"]) - clock.now()) < 60_000
    verify_signature(body, leaf.signature)


def test_every_step_is_fit_for_everybody(phone: Phone) -> None:
    code = phone.new()

    def seen(name: str) -> None:
        in_order(phone.page)
        look(phone.page, f"field-{name}")

    seen("start")
    phone.look_up(code)
    seen("detector")
    phone.button("Test it with C-112")
    seen("checks")
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


def test_an_alarm_that_does_not_come_is_loud_and_the_detector_is_out(phone: Phone) -> None:
    code = phone.new()
    phone.to_gas(code)
    phone.gas("CH4", "O2", "CO")
    phone.button("H2S: did not")
    phone.button("Sound, light and vibration came")
    phone.button("Gas off")
    phone.button("Both are so")
    told = phone.page.locator("#outcome").inner_text()
    assert "Do not use it. Tag it. Do not start the work that needs it." in told
    assert "H2S did not reach its alarm." in told
    phone.button("Write it")
    phone.became("in the book, number")
    phone.page.locator(".stamp--out-of-service").wait_for()
    look(phone.page, "field-failed")
    [leaf] = phone.site.written(code)
    assert leaf.body["outcome"] == "failed"


def test_a_spoiled_try_is_one_tap_and_another_try_follows(phone: Phone) -> None:
    code = phone.new()
    phone.to_gas(code)
    phone.gas("CH4")
    phone.button("Hood slipped")
    assert "SPOILED" in phone.page.locator("#outcome").inner_text().upper()
    phone.button("Write it")
    phone.became("in the book, number")
    phone.button("Try again")
    phone.button("Test it with C-112")
    phone.heading(f"{code}: before gas")
    [leaf] = phone.site.written(code)
    assert (leaf.body["outcome"], leaf.body["spoiled_because"]) == ("spoiled", "hood-slipped")


def test_two_cylinders_are_given_one_after_the_other(phone: Phone) -> None:
    code = phone.new("X")
    phone.look_up(code)
    phone.button("Test it with C-112, C-201")
    phone.button("All of these are well")
    phone.gas(*CHANNELS)
    phone.button("Sound, light and vibration came")
    phone.button("Gas off")
    phone.heading(f"{code}: gas from C-201")
    phone.gas("CO2")
    phone.button("Gas off")
    phone.button("Both are so")
    phone.button("Write it")
    phone.became("in the book, number")
    [leaf] = phone.site.written(code)
    assert leaf.body["outcome"] == "passed"
    assert leaf.body["about"] == [f"detector:{code}", "cylinder:C-112", "cylinder:C-201"]


def test_what_is_wrong_with_the_code_or_the_gas_is_said_before_gas_is_wasted(phone: Phone) -> None:
    phone.look_up("F-00")
    assert "No detector F-00 is known" in phone.page.locator(".caution").inner_text()
    phone.look_up(phone.new())
    phone.page.get_by_text("Another cylinder").tap()
    phone.look_up("C-999", "Code of the cylinder")
    phone.page.get_by_text("No cylinder C-999 is known").wait_for()
    phone.look_up("cylinder:c-090", "Code of the cylinder")
    phone.page.get_by_role("button", name="Give gas all the same with C-090").wait_for()
    assert "A test with it does not count." in phone.page.locator(".field-gas .caution").first.inner_text()
    look(phone.page, "field-gas-past")


def test_too_cold_for_the_gas_is_said_before_it_is_given(phone: Phone) -> None:
    phone.look_up(phone.new())
    phone.page.get_by_label("Temperature here").fill("-8")
    phone.button("Test it with C-112")
    phone.page.locator("#cold", has_text="It is too cold: this gas wants at least 0 °C.").wait_for()
    phone.button("Test it with C-112")
    phone.heading("before gas")


def test_a_browser_closed_in_mid_test_offers_to_go_on(phone: Phone) -> None:
    code = phone.new()
    phone.to_gas(code)
    phone.gas("CH4", "O2")
    phone.close()
    phone.page = phone.opened()
    phone.page.goto(f"{phone.site.address}/field/")
    phone.heading(f"A test of {code} was left off")
    look(phone.page, "field-offer")
    phone.button("Go on with it")
    phone.button("CO came")
    phone.button("H2S came")
    phone.button("Sound, light and vibration came")
    phone.button("Gas off")
    phone.button("Both are so")
    phone.button("Write it")
    phone.became("in the book, number")
    [leaf] = phone.site.written(code)
    assert leaf.body["outcome"] == "passed"


def test_a_test_that_was_left_off_can_be_recorded_as_broken_off(phone: Phone) -> None:
    code = phone.new()
    phone.to_gas(code)
    phone.gas("CH4")
    phone.page.reload()
    phone.button("Record it as broken off")
    phone.became("in the book, number")
    [leaf] = phone.site.written(code)
    assert (leaf.body["outcome"], leaf.body["spoiled_because"]) == ("spoiled", "broken-off")


# --- Without network


def test_a_rack_without_network_is_kept_and_sent_once_when_there_is(phone: Phone) -> None:
    codes = [phone.new() for _ in range(3)]
    phone.context.set_offline(True)
    phone.plain(codes[0])
    for code in codes[1:]:
        phone.plain(code, "Next detector")
    phone.became("not yet in the book")
    assert phone.page.locator(".stamp--may-go-out").count() == 0
    look(phone.page, "field-offline")
    phone.button("To the beginning")
    assert phone.page.locator("#unsent").inner_text() == "Not yet in the book: 3"
    phone.context.set_offline(False)
    phone.page.get_by_text("Everything written here was sent.").wait_for()
    assert [len(phone.site.written(code)) for code in codes] == [1, 1, 1]


def test_an_answer_that_is_lost_on_the_way_makes_no_second_entry(phone: Phone) -> None:
    code = phone.new()
    lost: list[Any] = []

    def lose(route: Any) -> None:
        lost.append(route.fetch())  # the server has it, the phone never hears
        route.abort()

    phone.page.route("**/api/field/entries?*", lose)
    phone.plain(code)
    phone.became("not yet in the book")
    phone.page.wait_for_timeout(300)
    assert [answer.status for answer in lost] == [200]
    phone.page.unroute("**/api/field/entries?*")
    phone.button("To the beginning")
    phone.button("Send now")
    phone.page.get_by_text("Everything written here was sent.").wait_for()
    assert len(phone.site.written(code)) == 1


def test_a_failed_test_that_was_not_sent_stands_before_the_servers_yes(phone: Phone) -> None:
    code = phone.new()
    phone.plain(code)
    phone.page.locator(".stamp--may-go-out").wait_for()
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
    assert phone.page.locator(".stamp--may-go-out").count() == 0
    assert phone.page.get_by_text("Failed on this phone, not yet in the book").is_visible()


def test_a_yes_is_not_shown_after_its_end(new_phone: Phone) -> None:
    new_phone.ready()
    code = new_phone.new()
    new_phone.plain(code)
    new_phone.page.locator(".stamp--may-go-out").wait_for()
    new_phone.context.set_offline(True)
    new_phone.page.clock.set_fixed_time(clock.now() / 1000 + 26 * 3600)
    new_phone.look_up(code, "Next detector")
    new_phone.heading("Who holds this phone?")  # nobody touched it for a day
    new_phone.button("Ilda Fontanova (K-1)")
    new_phone.page.get_by_label("PIN of").fill(PIN)
    new_phone.button("Go on")
    new_phone.look_up(code)
    new_phone.page.locator(".stamp--cannot-tell").wait_for()
    assert new_phone.page.locator(".stamp--may-go-out").count() == 0
    assert new_phone.page.get_by_text("It held until").is_visible()


def test_ten_in_a_row_go_without_the_beginning(phone: Phone) -> None:
    codes = [phone.new() for _ in range(10)]
    phone.plain(codes[0])
    for code in codes[1:]:
        phone.plain(code, "Next detector")
        assert phone.taps <= 12
    phone.became("in the book, number")
    assert [len(phone.site.written(code)) for code in codes] == [1] * 10


# --- The camera


def film(text: str) -> bytes:
    """A film of one picture for Chromium's fake camera: YUV4MPEG2, 640 x 480, a code in its middle."""
    import segno

    width, height, scale = 640, 480, 8
    code = [[bool(cell) for cell in row] for row in segno.make(text, error="m").matrix_iter(border=4)]
    side = len(code) * scale
    left, top = (width - side) // 2, (height - side) // 2
    rows = []
    for y in range(height):
        row = bytearray(b"\xb4" * width)
        if top <= y < top + side:
            cells = code[(y - top) // scale]
            row[left : left + side] = b"".join((b"\x20" if cell else b"\xe0") * scale for cell in cells)
        rows.append(bytes(row))
    frame = b"FRAME\n" + b"".join(rows) + b"\x80" * (width * height // 2)
    return b"YUV4MPEG2 W640 H480 F10:1 Ip A1:1 C420jpeg\n" + frame * 5


def test_the_camera_reads_a_printed_code(
    browser: "Browser", chromium: str, site: Site, tmp_path: Path
) -> None:
    code = f"F-{next(site.spare):03}"
    made = tmp_path / "code.y4m"
    made.write_bytes(film(f"https://pitbird.example/detectors/{code}"))
    seeing = browser.browser_type.launch(
        executable_path=chromium,
        args=[
            *CHROMIUM_ARGS, "--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream",
            f"--use-file-for-fake-video-capture={made}",
        ],
    )  # fmt: skip
    try:
        context = seeing.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
        context.set_default_timeout(20_000)
        phone = Phone(context, site)
        phone.ready()
        phone.button("Scan with the camera")
        phone.heading(code)
        assert phone.faults == []
    finally:
        seeing.close()


# --- Who holds it


def test_a_wrong_pin_is_counted_and_five_lock(new_phone: Phone) -> None:
    new_phone.pair()
    new_phone.button("Go on")
    new_phone.button("Ilda Fontanova (K-1)")
    new_phone.page.get_by_label("PIN of").fill("1357")
    new_phone.button("Go on")
    new_phone.page.get_by_text("That is not the PIN. Tries left: 4.").wait_for()


def test_without_network_the_pin_is_checked_by_the_phone_and_thrown_away_after_five_tries(
    new_phone: Phone,
) -> None:
    new_phone.ready()
    new_phone.button("Somebody else")
    new_phone.context.set_offline(True)
    new_phone.button("Ilda Fontanova (K-1)")
    for left in (4, 3, 2, 1):
        new_phone.page.get_by_label("PIN of").fill("1357")
        new_phone.button("Go on")
        new_phone.page.get_by_text(f"Tries left: {left}.").wait_for()
    new_phone.page.get_by_label("PIN of").fill("1357")
    new_phone.button("Go on")
    new_phone.page.get_by_text("Too many wrong PINs.").wait_for()
    new_phone.page.get_by_label("PIN of").fill(PIN)
    new_phone.button("Go on")
    new_phone.page.get_by_text("this person was never let in on this phone").wait_for()


def test_the_right_pin_lets_in_without_network(new_phone: Phone) -> None:
    new_phone.ready()
    new_phone.button("Somebody else")
    new_phone.context.set_offline(True)
    new_phone.button("Ilda Fontanova (K-1)")
    new_phone.page.get_by_label("PIN of").fill(PIN)
    new_phone.button("Go on")
    new_phone.heading("Which detector?")


def test_signing_out_takes_away_what_is_carried_and_keeps_what_was_not_sent(new_phone: Phone) -> None:
    new_phone.ready()
    code = new_phone.new()
    new_phone.context.set_offline(True)
    new_phone.plain(code)
    new_phone.button("To the beginning")
    new_phone.button("Sound, vibration, language, signing out")
    in_order(new_phone.page)
    new_phone.button("Sign out of this phone")
    new_phone.page.get_by_text("Entries not sent yet: 1. They stay on this phone").wait_for()
    kept = new_phone.page.evaluate("""async () => {
        const keep = await import('/static/pitbird/field/keep.js');
        return [await keep.get('snapshot'), (await keep.people()).length, (await keep.entries()).length];
    }""")
    assert kept == [None, 0, 1]
    new_phone.context.set_offline(False)
    new_phone.page.get_by_text("Everything was sent.").wait_for()
    assert len(new_phone.site.written(code)) == 1


# --- The server's side, and the weight


def test_every_word_that_the_scripts_ask_for_is_there() -> None:
    from pitbird.web.views.field_words import WORDS

    scripts = Path(run.ROOT) / "src" / "pitbird" / "web" / "static" / "pitbird" / "field"
    asked = {
        name
        for script in scripts.glob("*.js")
        for name in re.findall(r'say\("([\w-]+)"', script.read_text(encoding="utf-8"))
    }
    answers = ("offline", "signed-out", "stopped", "busy", "other-book")
    assert len(asked) > 80
    assert asked | {f"sending_{answer}" for answer in answers} <= set(WORDS)


def test_the_worker_lists_files_with_the_hashes_that_they_have(new_phone: Phone) -> None:
    import gzip
    from hashlib import sha256

    answer = new_phone.context.request.get(f"{new_phone.site.address}/field/worker.js")
    assert "no-store" in answer.headers["cache-control"]
    text = answer.text()
    files = json.loads(text.partition("const FILES = ")[2].partition(";\n")[0])
    weight = 0
    for address, digest in files.items():
        data = new_phone.context.request.get(f"{new_phone.site.address}{address}").body()
        assert sha256(data).hexdigest()[:16] == digest, address
        packed = data if address.endswith((".woff2", ".png")) else gzip.compress(data, 9)
        weight += len(packed)
    assert weight < 200_000
