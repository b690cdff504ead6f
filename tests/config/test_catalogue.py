"""The translations: what is kept packed is what people wrote, and nothing in German is missing."""

import gettext
import re
from pathlib import Path

import pytest

from config.catalogue import LOCALES, read_po, to_mo
from tests.catalogue import TOP, messages_in

SOURCES = sorted(LOCALES.glob("*/LC_MESSAGES/*.po"))

# What is shown in its reader's language as a whole: mails, the calendar, signing in, the card,
# and what comes of a board: its result, what is sent back, decided and asked for.
SPOKEN = [
    "assessments/apps.py",
    "assessments/forms/readings.py",
    "assessments/result_pdf.py",
    "assessments/result_pictures.py",
    "assessments/result_screen.py",
    "assessments/services/decisions.py",
    "assessments/services/rework.py",
    "assessments/templatetags/judging.py",
    "certification/apps.py",
    "reminders/presenters/calendar_feed.py",
    "certification/presenters/card.py",
    "reminders/forms/calendars.py",
    "reminders/forms/mail_choices.py",
    "reminders/models/mail_choices.py",
    "certification/presenters/register.py",
    "reminders/services/letters.py",
    "reminders/views/calendars.py",
    "reminders/views/mail_choices.py",
    *(str(path.relative_to(TOP)) for path in sorted((TOP / "templates/reminders/email").iterdir())),
    *(
        str(path.relative_to(TOP))
        for folder in ("account", "allauth")
        for path in sorted((TOP / "templates" / folder).rglob("*.*"))
    ),
    "templates/assessments/another_reading.html",
    "templates/assessments/board_beside.html",
    "templates/assessments/board_decide.html",
    "templates/assessments/board_result.html",
    "templates/assessments/board_sheet.html",
    "templates/assessments/grading_correct.html",
    "templates/assessments/joint_rework.html",
    "templates/assessments/partials/beside.html",
    "templates/assessments/partials/fault.html",
    "templates/assessments/partials/grade_criterion.html",
    "templates/assessments/partials/in_hand.html",
    "templates/assessments/partials/judged_photo.html",
    "templates/assessments/partials/reading_said.html",
    "templates/assessments/partials/result_several.html",
    "templates/base.html",
    "templates/base_phone.html",
    "templates/reminders/calendar.html",
    "templates/certification/card.html",
    "templates/reminders/mail_choices.html",
    "templates/certification/partials/standing.html",
    "templates/partials/foot.html",
    "templates/partials/pair.html",
    "templates/partials/tablet_bar.html",
    "templates/partials/top.html",
    "templates/people/looking_only.html",
    "templates/people/pin.html",
    "templates/people/partials/tablet_badge.html",
    "templates/people/partials/tablet_full.html",
    "templates/people/tablet.html",
    "people/views/adapters.py",
    "training/apps.py",
    "people/forms/tablets.py",
    "people/presenters/limit_line.py",
    "people/middleware/sign_ins.py",
    "people/presenters/navigation.py",
    "people/services/proof.py",
    "people/services/tablets.py",
    "people/middleware/tablets.py",
    "people/templatetags/look.py",
    "people/views/tablets.py",
]


def packed(path: Path) -> dict:
    """A `.mo` as Python's own gettext reads it; plurals have a key for each form."""
    with path.open("rb") as file:
        return vars(gettext.GNUTranslations(file))["_catalog"]


def as_gettext_keys(messages: dict[str, str]) -> dict:
    found: dict = {}
    for key, text in messages.items():
        single, plural, _rest = key.partition("\0")
        if plural:
            found |= {(single, n): one for n, one in enumerate(text.split("\0"))}
        else:
            found[key] = text
    return found


def figures(text: str) -> set[str]:
    return set(re.findall(r"%\(\w+\)\w|</?\w+>", text))


@pytest.fixture(scope="module")
def german() -> dict:
    return packed(LOCALES / "de/LC_MESSAGES/django.mo")


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.parts[-3])
def test_what_is_packed_is_what_is_written(source):
    written = read_po(source.read_text())
    assert packed(source.with_suffix(".mo")) == as_gettext_keys(written)
    assert source.with_suffix(".mo").read_bytes() == to_mo(written)


def test_german_is_there():
    assert [path.parts[-3] for path in SOURCES] == ["de"]


@pytest.mark.parametrize("name", SPOKEN)
def test_nothing_that_is_spoken_is_untranslated(name, german):
    missing = {
        (context, message)
        for context, message in messages_in(name)
        for key in [f"{context}\x04{message}" if context else message]
        if not german.get(key) and not german.get((key, 0))
    }
    assert missing == set()


def test_extraction_finds_what_templates_and_modules_say():
    in_template = messages_in("templates/reminders/email/reminders.txt")
    in_module = messages_in("reminders/services/letters.py")
    assert ("", "Dear %(name)s,") in in_template
    assert ("", "That is in %(n)d day.") in in_module
    assert ("day in a mail", "l j F Y") in in_module


def test_translations_keep_the_figures_and_tags_of_their_messages():
    for key, text in read_po((LOCALES / "de/LC_MESSAGES/django.po").read_text()).items():
        if key:
            message = key.rpartition("\x04")[2].rpartition("\0")[2]
            for form in text.split("\0")[-1:]:
                assert figures(form) == figures(message), message


@pytest.mark.parametrize(
    ("text", "read"),
    [
        pytest.param('msgid "a"\nmsgstr "b"\n', {"a": "b"}, id="one line"),
        pytest.param('msgid ""\n"a"\n"b"\nmsgstr "c"\n', {"ab": "c"}, id="several lines"),
        pytest.param('msgid "a"\nmsgstr ""\n', {}, id="empty is left out"),
        pytest.param('#, fuzzy\nmsgid "a"\nmsgstr "b"\n', {}, id="fuzzy is left out"),
        pytest.param(
            'msgid "a"\nmsgstr "b"\nmsgid "c"\nmsgstr "d"\n',
            {"a": "b", "c": "d"},
            id="no line between",
        ),
        pytest.param(
            'msgid "a\\"\\n"\nmsgid_plural "as"\nmsgstr[0] "b"\nmsgstr[1] "bs"\n',
            {'a"\n\0as': "b\0bs"},
            id="plural and escapes",
        ),
    ],
)
def test_reads_what_a_catalogue_may_hold(text, read):
    assert read_po(text) == read


def test_refuses_what_is_no_catalogue():
    with pytest.raises(ValueError, match="no line of a catalogue"):
        read_po("msgid a")
