"""The catalogues of translated words: ``python3 run.py words`` gathers the messages and compiles them.

Gathered are the sources whose every word is translated (``SOURCES``, ``TEMPLATES``); what stands elsewhere is
marked for translation too, and becomes part of the catalogues when its page is translated whole. A message
that no source holds any more is dropped, a new one stands untranslated, and a test says so.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import django
from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.template.loader import get_template
from django.templatetags.i18n import BlockTranslateNode, TranslateNode
from django.utils import translation

import run
from pitbird.web.views.field_words import WORDS

PACKAGE: Final = run.ROOT / "src" / "pitbird"
LOCALE: Final = PACKAGE / "locale"
#: Plural forms as gettext's manual gives them (section 12.6): two, French with one for 0 too.
LANGUAGES: Final = {"de": "(n != 1)", "es": "(n != 1)", "fr": "(n > 1)"}
SOURCES: Final = (
    "rules/words.py",
    "papers/loud.py",
    "web/context.py",
    "web/names.py",
    "web/telling.py",
    "web/times.py",
    "web/views/asked.py",
    "web/views/bump_gas.py",
    "web/views/bump_words.py",
    "web/views/field.py",
    "web/views/field_words.py",
    "web/views/gate.py",
)
TEMPLATES: Final = (
    "_finding", "_gate_answer", "_gate_folio", "_gate_list", "_loud", "_nav_item", "_paper",
    "_stamp", "base", "field", "gate",
)  # fmt: skip
_CALLS: Final[dict[str, Any]] = {
    "_": None,
    "gettext": None,
    "gettext_lazy": None,
    "ngettext": (1, 2),
    "pgettext": ((1, "c"), 2),
}
_HEADER: Final = """# pitbird in other languages. See docs/languages.md before you change a word of the trade.
msgid ""
msgstr ""
"Project-Id-Version: pitbird\\n"
"Language: {language}\\n"
"MIME-Version: 1.0\\n"
"Content-Type: text/plain; charset=UTF-8\\n"
"Content-Transfer-Encoding: 8bit\\n"
"Plural-Forms: nplurals=2; plural={plural};\\n"

"""
_BEGUN: Final = datetime(2026, 1, 1, tzinfo=UTC)


def po(language: str) -> Path:
    """The catalogue of a language, as translators edit it."""
    return LOCALE / language / "LC_MESSAGES" / "django.po"


def gathered() -> Catalog:
    """Every message of the sources, with the files that hold it."""
    found = Catalog()
    for name in SOURCES:
        with (PACKAGE / name).open("rb") as source:
            for _line, message, _comments, context in extract("python", source, _CALLS):
                found.add(message, locations=[(name, 0)], context=context)
    for name in TEMPLATES:
        for message, context in _in_template(f"pitbird/{name}.html"):
            found.add(message, locations=[(f"web/templates/pitbird/{name}.html", 0)], context=context)
    with translation.override("en"):  # words of the field page that stand in the vocabulary of all pages
        for message in sorted({*map(str, WORDS.values())}):
            if message not in found:
                found.add(message, locations=[("web/vocabulary.py", 0)])
    return found


def _in_template(name: str) -> Iterator[tuple[str | tuple[str, str], str | None]]:
    """The messages of a template as its tags look them up, per cent signs doubled."""
    nodes = get_template(name).template.nodelist  # type: ignore[attr-defined] # of Django's own backend
    for node in nodes.get_nodes_by_type(TranslateNode):
        yield str(node.filter_expression.var.literal).replace("%", "%%"), _plain(node.message_context)
    for node in nodes.get_nodes_by_type(BlockTranslateNode):
        message, _names = node.render_token_list(node.singular)
        if node.plural:
            yield (message, node.render_token_list(node.plural)[0]), _plain(node.message_context)
        else:
            yield message, _plain(node.message_context)


def _plain(context: Any) -> str | None:
    return None if context is None else str(context.var)


def read(language: str) -> Catalog:
    """The catalogue of a language as it stands; an empty one for a language that begins."""
    if not po(language).exists():
        return Catalog(locale=language)
    return read_po(io.BytesIO(po(language).read_bytes()), locale=language)


def as_text(language: str) -> bytes:
    """What the catalogue of a language should be: every message gathered, translated as far as it is."""
    catalogue, messages = read(language), gathered()
    catalogue.update(messages, no_fuzzy_matching=True)
    catalogue.obsolete.clear()
    text = io.BytesIO()
    write_po(text, catalogue, width=100, omit_header=True, sort_by_file=False, include_lineno=False)
    return _HEADER.format(language=language, plural=LANGUAGES[language]).encode() + text.getvalue()


def compiled(text: bytes, language: str) -> bytes:
    """The compiled form of a catalogue."""
    catalogue = read_po(io.BytesIO(text), locale=language)
    catalogue.creation_date = catalogue.revision_date = _BEGUN  # the same words give the same file
    data = io.BytesIO()
    write_mo(data, catalogue)
    return data.getvalue()


def main() -> int:
    """Bring every catalogue up to date and compile it; say what is not translated yet."""
    left = 0
    for language in LANGUAGES:
        text = as_text(language)
        po(language).parent.mkdir(parents=True, exist_ok=True)
        po(language).write_bytes(text)
        po(language).with_suffix(".mo").write_bytes(compiled(text, language))
        messages = [each for each in read(language) if each.id]
        open_ = [each for each in messages if not all(_strings(each.string)) or each.fuzzy]
        left += len(open_)
        sys.stdout.write(f"{language}: {len(messages)} messages, {len(open_)} to translate\n")
    return 1 if left else 0


def _strings(string: Any) -> tuple[str, ...]:
    return (string,) if isinstance(string, str) else tuple(string)


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    django.setup()
    sys.exit(main())
