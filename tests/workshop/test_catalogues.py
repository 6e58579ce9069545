"""The catalogues: up to date, compiled, whole, and their words promise nothing that no test shows."""

from __future__ import annotations

import datetime
import gettext
import io
import re
from typing import Any

import pytest
from babel import Locale
from babel.dates import get_month_names
from babel.messages.catalog import Message
from django.conf import settings
from django.utils import dateformat, formats, translation

from pitbird.papers.locales import LANGUAGES as PAPERS
from pitbird.papers.locales import LOCALES
from pitbird.web.views.field_words import WORDS
from tests.workshop import catalogues

LANGUAGES = sorted(catalogues.LANGUAGES)
#: Claims that no words here may make, nor their contraries, in each language.
CLAIMS = {
    "de": r"\b(un)?sicher\w*|\bgefahrlos\w*|\bunbedenklich\w*|\bgenau\w*|\bexakt\w*|\bpräzis\w*|\bgarant\w*"
    r"|\b(be|nach)(weis|wies)\w*|\bzuverlässig\w*|\beinwandfrei\w*",
    "es": r"\b(in)?segur\w*|\bpeligro\w*|\b(in)?exact\w*|\bprecis[oai]\w*|\bgarant\w*|\bdemuestra\w*"
    r"|\bdemostrad\w*|\bfiab\w*|\bcomprobado\w*",
    "fr": r"\bsûr\w*|\bsécuri\w*|\bsans danger\b|\b(in)?exact\w*|\b(im)?précis\w*|\bgaranti\w*|\bprouv\w*"
    r"|\bpreuve\w*|\bfiab\w*|\binfaillib\w*",
}
#: The same in every language: names, signs and forms.
ALIKE = re.compile(
    r"(ppm|% vol|%d (h|min)|\{what\}\.|Gas|Test|Site|PIN.*|Vibration|vibration|Note\.|D?[ ,.jNFMYHi:]+"
    r"|Detector|six|butane|propane|pentane|hexane|air|Code .*)"
)
PLACE = re.compile(r"\{\w*\}|%\(\w+\)[sd]|%[sd]|</?strong>")


def messages(language: str) -> list[Message]:
    return [each for each in catalogues.read(language) if each.id]


def pairs(message: Message) -> list[tuple[str, str]]:
    """Each form of a message beside its translation; the plural stands beside every other form."""
    if isinstance(message.id, str):
        return [(message.id, str(message.string))]
    singular, plural = message.id
    return list(zip((singular, plural), message.string or (), strict=True))


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_catalogue_holds_what_the_sources_say(language: str) -> None:
    """Where this fails: python3 run.py words, then translate what is new."""
    assert catalogues.po(language).read_bytes() == catalogues.as_text(language)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_compiled_catalogue_holds_what_the_other_says(language: str) -> None:
    compiled = catalogues.compiled(catalogues.po(language).read_bytes(), language)
    wanted: Any = gettext.GNUTranslations(io.BytesIO(compiled))
    with catalogues.po(language).with_suffix(".mo").open("rb") as file:
        found: Any = gettext.GNUTranslations(file)
    words = {key: text for key, text in found._catalog.items() if key}
    assert words == {key: text for key, text in wanted._catalog.items() if key}
    assert found.plural(1) != found.plural(2)


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_message_is_translated_and_none_by_guess(language: str) -> None:
    listed = messages(language)
    assert len(listed) > 600
    assert [each.id for each in listed if each.fuzzy or not all(text for _, text in pairs(each))] == []
    same = [given for each in listed for given, text in pairs(each) if given == text]
    assert [given for given in same if not ALIKE.fullmatch(given)] == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_places_for_values_are_the_same(language: str) -> None:
    for each in messages(language):
        for given, text in pairs(each):
            assert sorted(PLACE.findall(given)) == sorted(PLACE.findall(text)), given


@pytest.mark.parametrize("language", LANGUAGES)
def test_sentences_end_and_begin_as_the_english_do(language: str) -> None:
    for each in messages(language):
        for given, text in pairs(each):
            assert (given[-1] in ".?:)") == (text[-1] in ".?:)"), given
            assert given[:1].isspace() == text[:1].isspace(), given
            if given[0].isascii() and given[0].isalpha() and language != "de" and len(given) > 12:
                assert given[0].isupper() == text.lstrip("¿")[0].isupper() or text[0] == "{", (given, text)


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_words_promise_what_no_test_shows(language: str) -> None:
    for each in messages(language):
        for _given, text in pairs(each):
            assert not re.search(CLAIMS[language], text, re.IGNORECASE), text


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_claims_are_found_where_there_are_any(language: str) -> None:
    said = {"de": "Das Gerät ist sicher.", "es": "Es seguro.", "fr": "C’est sûr."}[language]
    assert re.search(CLAIMS[language], said, re.IGNORECASE)


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_fail_is_told_apart_at_a_glance_from_a_pass_and_from_a_spoiled_try(language: str) -> None:
    """None of the three words stands within another, and the four stamps do not begin alike."""
    with translation.override(language):
        three = [translation.gettext(word).casefold() for word in ("Passed", "Failed", "Spoiled")]
        four = [str(WORDS[name]) for name in ("may-go-out", "not-yet", "out-of-service", "cannot-tell")]
    assert not any(one in other for one in three for other in three if one != other)
    assert not any(one[:4] == other[:4] for one in three for other in three if one != other)
    assert len({stamp[:4].casefold() for stamp in four}) == 4


def test_the_languages_are_those_of_the_settings_and_of_the_papers() -> None:
    assert [tag for tag, _name in settings.LANGUAGES if tag != "en"] == LANGUAGES == sorted(PAPERS)
    assert set(LANGUAGES) <= set(LOCALES)


@pytest.mark.parametrize("language", LANGUAGES)
def test_languages_months_and_decimal_signs_are_those_of_unicode_cldr(language: str) -> None:
    """Unicode CLDR as Babel carries it: the language's own name, its months, its decimal sign."""
    locale = Locale(language)
    assert dict(settings.LANGUAGES)[language].casefold() == str(locale.display_name).casefold()
    assert LOCALES[language].point == locale.number_symbols["latn"]["decimal"]
    months = get_month_names("wide", locale=language)
    with translation.override(language):
        assert formats.get_format("DECIMAL_SEPARATOR") == locale.number_symbols["latn"]["decimal"]
        for month in range(1, 13):
            shown = dateformat.format(datetime.date(2026, month, 1), "F")
            assert shown == months[month]
