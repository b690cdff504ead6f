"""The translations: what is compiled is what people wrote, and nothing in German is missing."""

import gettext
import io
import re
from pathlib import Path

import pytest
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

from tests.catalogue import LOCALES, TOP, all_messages, messages_in

SOURCES = sorted(LOCALES.glob("*/LC_MESSAGES/*.po"))


def compiled(path: Path) -> dict:
    """A `.mo` as Python's own gettext reads it; plurals have a key for each form."""
    with path.open("rb") as file:
        return vars(gettext.GNUTranslations(file))["_catalog"]


def written(path: Path) -> list:
    """The messages of a `.po`, without its header."""
    with path.open("rb") as file:
        return [message for message in read_po(file) if message.id]


def forms(texts: str | tuple[str, ...]) -> tuple[str, ...]:
    return (texts,) if isinstance(texts, str) else tuple(texts)


def placeholders(text: str) -> set[str]:
    return set(re.findall(r"%\(\w+\)\w|</?\w+>", text))


@pytest.fixture(scope="module")
def german() -> dict:
    return compiled(LOCALES / "de/LC_MESSAGES/django.mo")


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.parts[-3])
def test_what_is_compiled_is_what_is_written(source):
    """Byte by byte: `make catalogues` makes the same file on any day and machine."""
    with source.open("rb") as file:
        catalogue = read_po(file)
    again = io.BytesIO()
    write_mo(again, catalogue)
    assert source.with_suffix(".mo").read_bytes() == again.getvalue(), "run `make catalogues`"


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.parts[-3])
def test_every_message_that_is_written_is_compiled(source):
    """A message without a translation, or marked fuzzy, would be left out in silence."""
    expected = {}
    for message in written(source):
        key = f"{message.context}\x04" if message.context else ""
        assert not message.fuzzy, message.id
        if message.pluralizable:
            singular = f"{key}{message.id[0]}"
            expected |= {(singular, n): text for n, text in enumerate(message.string)}
        else:
            expected[f"{key}{message.id}"] = message.string
    messages = compiled(source.with_suffix(".mo"))
    assert {key: text for key, text in messages.items() if key} == expected
    assert all(expected.values())


def test_german_is_there():
    assert [path.parts[-3] for path in SOURCES] == ["de"]


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.parts[-3])
def test_no_message_is_untranslated(source):
    """Every page is shown in its reader's language, and none mixes two."""
    messages = compiled(source.with_suffix(".mo"))
    missing = {
        (context, message)
        for context, message in all_messages()
        for key in [f"{context}\x04{message}" if context else message]
        if not messages.get(key) and not messages.get((key, 0))
    }
    assert missing == set()


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.parts[-3])
def test_no_translation_is_of_a_message_that_is_gone(source):
    translated = {(message.context or "", forms(message.id)[0]) for message in written(source)}
    assert translated - all_messages() == set()


def test_extraction_finds_what_templates_and_modules_say():
    in_template = messages_in(TOP / "templates/reminders/email/reminders.txt")
    in_module = messages_in(TOP / "reminders/services/letters.py")
    assert ("", "Dear %(name)s,") in in_template
    assert ("", "That is in %(n)d day.") in in_module
    assert ("day in a mail", "l j F Y") in messages_in(TOP / "people/presenters/days.py")


def test_extraction_reads_every_kind_of_call(tmp_path):
    module = tmp_path / "module.py"
    module.write_text(
        '_("a" "b")\ngettext_lazy("lazy")\nngettext_lazy("one", "many", n)\n'
        'pgettext_lazy("where", "what")\nnpgettext("where", "one", "many", n)\nprint("not this")\n'
    )
    assert messages_in(module) == {
        ("", "ab"),
        ("", "lazy"),
        ("", "one"),
        ("where", "what"),
        ("where", "one"),
    }
    template = tmp_path / "page.html"
    template.write_text(
        "<p class='it'>It's {{ n }}\n    {% translate 'one' %}\n"
        "  {% blocktranslate trimmed context 'where' %}\n  two\n  lines\n{% endblocktranslate %}\n"
        "{% blocktranslate count n=n %}a {{ n }}{% plural %}b {{ n }}{% endblocktranslate %}\n"
        '{{ name|default:_("none") }}</p>'
    )
    assert messages_in(template) == {
        ("", "one"),
        ("where", "two lines"),
        ("", "a %(n)s"),
        ("", "none"),
    }


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.parts[-3])
def test_translations_keep_the_placeholders_and_tags_of_their_messages(source):
    for message in written(source):
        assert list(message.check()) == [], message.id
        last = forms(message.id)[-1]
        assert placeholders(forms(message.string)[-1]) == placeholders(last), last
