"""Letters about a class to those whom no mail reaches, one to a page, as a PDF to hand out."""

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from django.utils.translation import gettext as _

from people.models import Installation, Site
from people.presenters import paper
from people.presenters.days import format_instant, format_letter_day
from people.queries.languages import in_language, language_of
from training.models import ClassLetter

from .class_letter import letter_text

SOURCE = Path(__file__).parent / "print" / "class_letters.typ"


def texts_in_letters(letters: Sequence[ClassLetter]) -> list[str]:
    """What people typed and the letters say."""
    return [
        text
        for letter in letters
        for text in (letter.person.full_name, *letter_text(letter).paragraphs)
    ]


def letters_pdf(site: Site, letters: Sequence[ClassLetter], *, at: datetime) -> bytes:
    """Set each letter on a page of its own, in the language of whoever it is for."""
    data = {
        "title": _("Letters about a class"),
        "organisation": Installation.current().organisation,
        "printed_utc": list(at.astimezone(UTC).timetuple()[:6]),
        "printed": _("Printed %(instant)s") % {"instant": format_instant(at, site.time_zone)},
        "letters": [_page(letter) for letter in letters],
    }
    return paper.typeset(SOURCE, data, zone=site.time_zone)


def _page(letter: ClassLetter) -> dict[str, object]:
    person = letter.person
    with in_language(language_of(person)):
        text = letter_text(letter)
        written_on = person.site.today(letter.recorded_at)
        return {
            "name": paper.name_or_notice(person.full_name),
            "number": person.employee_number,
            "day": format_letter_day(written_on),
            "subject": text.subject,
            "paragraphs": list(text.paragraphs),
        }
