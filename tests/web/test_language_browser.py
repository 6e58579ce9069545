"""The field page in each language in a real browser, at the width of WCAG 2.2 (1.4.10, 320 px): nothing runs
over, axe-core finds nothing, and the language can be changed without network."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from django.utils import translation

from pitbird.web.views.bump_words import ADVICE
from pitbird.web.views.field_words import WORDS
from tests.web.field_phone import BEGIN, LINKS, PIN, Phone, Site, python
from tests.web.test_bump_browser import CHANNELS, in_order, look
from tests.web.test_pages_browser import at_the_desk, on_a_book, served
from tests.web.test_pages_browser import look as look_at

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext

pytestmark = [pytest.mark.browser, pytest.mark.slow]

#: Texts with a word that does not fit into its button, heading or stamp, and would run over it or be broken
#: anywhere. The bar of *out of service* runs over by design.
OVER = """(places) => [...document.querySelectorAll(places)].filter((each) => each.checkVisibility())
    .filter((each) => {
      Object.assign(each.style, {overflowWrap: "normal", hyphens: "manual"});
      const over = each.scrollWidth > each.clientWidth + 1;
      Object.assign(each.style, {overflowWrap: "", hyphens: ""});
      return over;
    }).map((each) => each.outerHTML.slice(0, 120))"""
PLACES = (
    "main :is(button, h1, h2, summary, label, .stamp:not(.stamp--out-of-service), .bump-outcome__word, "
    ".caution)"
)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    home = tmp_path_factory.mktemp("home")
    python(home, BEGIN)
    links = python(home, LINKS).split()
    with served(home) as address:
        yield Site(address, home, iter(links), iter(range(40)))


class Speaker(Phone):
    """A phone whose browser asks for a language."""

    def __init__(self, context: "BrowserContext", site: Site, language: str) -> None:
        super().__init__(context, site)
        self.language = language

    def word(self, key: str, **values: object) -> str:
        with translation.override(self.language):
            return str(WORDS[key]).format(**values)

    def tap(self, key: str, **values: object) -> None:
        self.button(self.word(key, **values))

    def in_order(self, name: str) -> None:
        in_order(self.page)
        assert self.page.evaluate(OVER, PLACES) == [], name
        look(self.page, f"field-{self.language}-{name}")

    def let_in_here(self) -> None:
        self.page.goto(f"{self.site.address}/field/pair#{next(self.site.links)}")
        self.tap("pair_do")
        self.heading(self.word("pair_done", code=""))
        self.tap("go_on")
        self.button("Ilda Fontanova (K-1)")
        self.page.locator("#pin").fill(PIN)
        self.tap("let_in")
        self.heading(self.word("which"))
        self.page.evaluate("navigator.serviceWorker.ready.then(() => null)")

    def spoken(self) -> str | None:
        return self.page.locator("html").get_attribute("lang")


def opened(browser: "Browser", site: Site, language: str, locale: str) -> Iterator[Speaker]:
    context = browser.new_context(
        viewport={"width": 320, "height": 640}, has_touch=True, is_mobile=True, locale=locale
    )
    context.set_default_timeout(20_000)
    made = Speaker(context, site, language)
    yield made
    context.close()
    site.answer_for_the_gas()
    assert made.faults == []


@pytest.fixture(params=[("de", "de-AT"), ("es", "es-ES"), ("fr", "fr-FR")], ids=lambda pair: pair[0])
def phone(browser: "Browser", site: Site, request: pytest.FixtureRequest) -> Iterator[Speaker]:
    yield from opened(browser, site, *request.param)


@pytest.fixture
def english(browser: "Browser", site: Site) -> Iterator[Speaker]:
    yield from opened(browser, site, "en", "en-GB")


def test_a_whole_test_at_320_px_in_each_language(phone: Speaker) -> None:
    code = phone.new()
    phone.page.goto(f"{phone.site.address}/field/")
    phone.heading(phone.word("not_paired"))
    assert phone.spoken() == phone.language
    phone.in_order("unpaired")
    phone.let_in_here()
    phone.in_order("start")
    phone.tap("settings")
    phone.in_order("settings")
    phone.tap("back")
    phone.look_up(code, phone.word("code"))
    phone.heading(code)
    phone.in_order("detector")
    assert phone.page.locator(f"main [lang]:not([lang={phone.language}])").count() == 0
    phone.page.locator("#temperature").fill("zwölf")
    phone.tap("with", cylinder="C-112")
    phone.page.locator("#cold", has_text=phone.word("temperature_wrong")).wait_for()
    phone.page.locator("#temperature").fill("21,5")
    phone.tap("with", cylinder="C-112")
    phone.heading(phone.word("checks_of", code=code))
    phone.in_order("checks")
    assert "20,9" in phone.page.locator(".field-checks").inner_text()
    phone.tap("all_well")
    phone.in_order("before-gas")
    phone.tap("gas_on")
    phone.in_order("gas")
    for channel in CHANNELS[:-1]:
        phone.tap("came", channel=channel)
    phone.button(f"{CHANNELS[-1]}: {phone.word('came_not')}")
    phone.in_order("gas-answered")
    phone.tap("all_signals")
    phone.tap("gas_off")
    phone.in_order("after")
    phone.tap("all_clear")
    with translation.override(phone.language):
        failed = str(ADVICE["failed"])
    phone.page.get_by_text(failed).wait_for()
    phone.in_order("failed")
    phone.tap("write")
    phone.heading(phone.word("written", code=code))
    phone.page.locator("#became", has_text=phone.word("state_written", index="")).wait_for()
    phone.in_order("written")
    [leaf] = phone.site.written(code)
    assert (leaf.body["temperature_c"], leaf.body["outcome"]) == ("21.5", "failed")


def test_handing_out_without_a_yes_and_taking_back_at_320_px_in_each_language(phone: Speaker) -> None:
    code = phone.new()
    phone.let_in_here()
    phone.look_up(code, phone.word("code"))
    phone.tap("hand_out")
    phone.in_order("to-whom")
    phone.look_up("K-1", phone.word("person_code"))
    phone.page.locator(".caution", has_text=phone.word("no_yes", name="Ilda Fontanova (K-1)")).wait_for()
    phone.in_order("no-yes")
    assert phone.page.locator(f"main [lang]:not([lang={phone.language}])").count() == 0
    phone.tap("gone_already")
    phone.in_order("terms")
    phone.tap("gone_already_do")
    phone.page.locator(".caution", has_text=phone.word("due_missing")).wait_for()
    phone.in_order("terms-missing")
    phone.tap("due_none")
    phone.tap("gone_already_do")
    phone.heading(phone.word("handed-out_done", code=code, name="Ilda Fontanova (K-1)"))
    phone.in_order("handed")
    phone.tap("done_rack")
    phone.look_up(code, phone.word("code"))
    phone.tap("take_back")
    phone.in_order("back")
    phone.tap("back_drop")
    phone.in_order("back-dropped")
    phone.tap("back_with")
    phone.heading(phone.word("handed-back_done", code=code))
    phone.in_order("taken-back")


def test_the_server_speaks_the_language_of_the_phone(phone: Speaker) -> None:
    phone.let_in_here()
    phone.look_up(phone.new(), phone.word("code"))
    with translation.override(phone.language):
        said = translation.gettext("No passed bump test is on record.")
        stamped = str(WORDS["not-yet"])
    phone.page.get_by_text(said).wait_for()
    assert stamped.upper() in phone.page.locator(".stamp").first.inner_text().upper()


def test_the_language_is_changed_without_network_and_stays(english: Speaker) -> None:
    phone = english
    phone.let_in_here()
    code = phone.new()
    phone.context.set_offline(True)
    phone.tap("settings")
    phone.button("Deutsch")
    phone.language = "de"
    phone.heading(phone.word("settings"))
    assert phone.spoken() == "de"
    phone.in_order("changed")
    phone.page.reload()
    phone.heading(phone.word("which"))
    assert phone.spoken() == "de"
    # What the server said in English before is marked as English, until there is network again.
    phone.look_up(code, phone.word("code"))
    carried = phone.page.locator("main [lang=en]")
    assert "No passed bump test is on record." in carried.all_inner_texts()
    phone.in_order("carried")
    phone.context.set_offline(False)
    phone.page.get_by_text("Kein bestandener Anzeigetest ist verzeichnet.").wait_for()
    assert carried.count() == 0
    phone.tap("back")
    phone.tap("settings")
    for tag, name in (("fr", "Français"), ("es", "Español"), ("en", "English")):
        phone.button(name)
        phone.language = tag
        phone.heading(phone.word("settings"))


# --- The gate


@pytest.fixture(scope="module")
def troubled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    with on_a_book(tmp_path_factory.mktemp("troubled"), "fill_troubled") as found:
        yield found


@pytest.mark.parametrize("language", ["de", "es", "fr"])
def test_the_gate_is_fit_for_everybody_in_each_language(
    browser: "Browser", troubled: tuple[str, str], language: str
) -> None:
    page = at_the_desk(browser, troubled, locale=language)
    page.goto(f"{troubled[0]}/")
    assert page.locator("html").get_attribute("lang") == language
    faults = []
    for width in (1280, 320):
        page.set_viewport_size({"width": width, "height": 900})
        faults += look_at(page, f"{language} at {width} px")
        over = page.evaluate(OVER, ".stamp:not(.stamp--out-of-service), .stamp__time, button, h1, h2")
        faults += [f"{language} at {width} px: {each}" for each in over]
        look(page, f"gate-{language}")
    assert faults == []


def test_the_language_is_chosen_at_the_foot_of_a_page(browser: "Browser", troubled: tuple[str, str]) -> None:
    page = at_the_desk(browser, troubled, locale="en-GB")
    page.goto(f"{troubled[0]}/?verdict=not-yet")
    page.get_by_role("button", name="Español").click()
    page.get_by_role("heading", level=1, name="¿Qué puede salir ahora?").wait_for()
    assert page.url.endswith("/?verdict=not-yet")
    page.get_by_role("link", name="Gas", exact=True).click()
    page.get_by_text("Esta página solo está en inglés por ahora.").wait_for()
    assert page.locator("html").get_attribute("lang") == "en"
