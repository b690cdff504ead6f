"""Every text of every page can be translated: in a made-up language none is left as it was."""

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from zoneinfo import available_timezones

import pytest
from django.apps import apps
from django.db import connection, transaction
from django.utils import translation
from django.utils.translation import trans_real

from people.models import Person
from tests.access_scenario import Scenario, build
from tests.test_access_table import OK, TABLE, address, ask, asked, said

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

MADE_UP = "tlh"
OPENS, CLOSES = "⟦", "⟧"
READERS = ("quality", "instructor", "owner", "lead", "administrator", "kiosk", "anonymous")
MOST_READERS = 2  # Of those who may open an address, the ones who see most of it.
SHOWN_ATTRIBUTES = {"alt", "aria-label", "title", "placeholder", "aria-description", "content"}
NOT_READ = {"script", "style", "template", "svg", "code", "kbd", "pre"}

# Read alike in every language: names and units of the trade, formats, addresses.
INTERNATIONAL = {
    "jointworthy", "awg", "mm", "px", "pdf", "csv", "xlsx", "svg", "png", "zip", "iso", "pin",
    "english", "deutsch", "utc", "cet", "cest", "sha", "jpeg", "kb", "mb", "rev", "openapi",
    "id", "qr", "http", "https", "api",
}  # fmt: skip


ZONES = available_timezones()
NAMES = [re.compile(pattern) for pattern in (r"[a-z]+(-[a-z0-9]+)+", r"Sn[\w.]+")]
"""Of files among the drawings, and of alloys."""


class _MadeUp:
    """A catalogue that has everything: each message between brackets."""

    def gettext(self, message: str) -> str:
        return f"{OPENS}{message.rpartition(chr(4))[2]}{CLOSES}"

    def ngettext(self, one: str, many: str, number: int) -> str:
        return self.gettext(one if number == 1 else many)

    def language(self) -> str:
        return MADE_UP

    def to_language(self) -> str:
        return MADE_UP


class _Page(HTMLParser):
    """The texts that somebody sees or is read aloud."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[str] = []
        self.attributes: list[str] = []
        self.unread: list[str] = []

    def handle_starttag(self, tag, attributes):
        if tag in NOT_READ:
            self.unread.append(tag)
        said = dict(attributes)
        if tag == "meta":
            return
        self.attributes += [said[name] for name in SHOWN_ATTRIBUTES & said.keys() if said[name]]
        if tag == "input" and said.get("type") in ("submit", "button"):
            self.attributes.append(said.get("value") or "")

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        self.handle_endtag(tag)

    def handle_endtag(self, tag):
        if self.unread and self.unread[-1] == tag:
            self.unread.pop()

    def handle_data(self, text):
        if not self.unread:
            self.texts.append(text)


def _without_translated(text: str, depth: int = 0) -> tuple[str, int]:
    """What stands outside all brackets, and how many are open at its end.

    What was put into a message is data of its own.
    """
    rest = []
    for letter in text:
        if letter == OPENS:
            depth += 1
        elif letter == CLOSES:
            depth -= 1
        elif depth == 0:
            rest.append(letter)
    return "".join(rest), depth


@pytest.fixture(scope="module")
def scenario(django_db_setup, django_db_blocker) -> Iterator[Scenario]:
    with django_db_blocker.unblock(), transaction.atomic():
        built = build()
        Person.objects.update(language=MADE_UP)
        yield built
        transaction.set_rollback(True)


@pytest.fixture(autouse=True)
def _what_a_question_writes_is_put_back(scenario, db) -> None:
    scenario.as_built = transaction.savepoint()


@pytest.fixture(scope="module")
def data(scenario, django_db_blocker) -> set[str]:
    """Every word of every row: what people typed stays as they typed it."""
    words: set[str] = set()
    with django_db_blocker.unblock(), connection.cursor() as cursor:
        for model in apps.get_models():
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(model._meta.db_table)}")
            for row in cursor.fetchall():
                for value in row:
                    if isinstance(value, str):
                        words |= _words(value)
    return words


def _words(text: str) -> set[str]:
    return {word.lower() for word in re.findall(r"[^\W\d_]{2,}", text)}


@pytest.fixture
def made_up(monkeypatch, settings):
    settings.LANGUAGES = [*settings.LANGUAGES, (MADE_UP, "Tlh")]
    settings.LANGUAGE_CODE = MADE_UP
    # Django forgets its catalogues whenever one of these two is set.
    monkeypatch.setattr(trans_real, "_translations", {MADE_UP: _MadeUp()})
    with translation.override(MADE_UP):
        yield


@pytest.mark.parametrize("name", [name for name in TABLE if not name.startswith("interfaces:api")])
def test_every_text_of_a_page_is_marked(scenario, data, made_up, name):
    row = TABLE[name]
    unmarked = {}
    for reader in [one for one in READERS if one in row.may][:MOST_READERS]:
        things = scenario.things_for(reader)
        for method in row.method.split():
            response = ask(scenario, reader, method, address(name, row, things), asked(row, things))
            if said(response) == OK and "text/html" in response.headers.get("Content-Type", ""):
                unmarked |= _unmarked(response.body.decode(), data)
    assert unmarked == {}


def _unmarked(body: str, data: set[str]) -> dict[str, str]:
    """Words that are neither translated nor data, with the text that they stand in."""
    page = _Page()
    page.feed(body)
    outside, depth = [], 0
    for text in page.texts:  # A message may go on behind an element of its own.
        left, depth = _without_translated(text, depth)
        outside.append((left, text))
    assert depth == 0, "a message was cut"
    outside += [(_without_translated(text)[0], text) for text in page.attributes]
    found = {}
    for left, text in outside:
        if left.strip() in ZONES:
            continue
        for name in NAMES:
            left = name.sub("", left)
        if words := _words(left) - data - INTERNATIONAL:
            found[" ".join(sorted(words))] = " ".join(text.split())[:120]
    return found


def test_text_that_is_not_marked_is_found():
    page = (
        f"<p>{OPENS}Boards of{CLOSES} Leonie</p><p>{OPENS}See <b>here{CLOSES}</b></p>"
        "<p>Not yet</p><img alt='The bench'><script>let it = 'code'</script>"
    )
    assert _unmarked(page, {"leonie"}) == {"not yet": "Not yet", "bench the": "The bench"}
