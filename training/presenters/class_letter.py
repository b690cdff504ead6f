"""What a letter about a place in a class says, in the language that is active."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time

from django.utils.translation import gettext as _

from people.presenters.days import format_letter_day
from training.models import ClassLetter

Kind = ClassLetter.Kind


@dataclass(frozen=True)
class LetterText:
    """A subject and paragraphs; ``place`` is where the class is held, in one line."""

    subject: str
    paragraphs: Sequence[str]
    place: str

    @property
    def body(self) -> str:
        return "\n\n".join(self.paragraphs) + "\n"


def days_of(letter: ClassLetter) -> list[date]:
    return [date.fromisoformat(day) for day in letter.says["days"]]


def hours_of(letter: ClassLetter) -> tuple[time, time]:
    """When each day starts and ends, on the clocks of the class's site."""
    return time.fromisoformat(letter.says["starts"]), time.fromisoformat(letter.says["ends"])


def letter_text(letter: ClassLetter) -> LetterText:
    """What somebody reads about their own place."""
    says = letter.says
    words = {"course": says["course"], "number": says["number"], "reason": says.get("reason", "")}
    place = ", ".join(filter(None, [says["room"], says["site"], says["address"]]))
    subject, opening = _opening(letter, words)
    paragraphs = [opening]
    if words["reason"]:
        paragraphs.append(_("Reason: %(reason)s") % words)
    paragraphs.append(_("Days: %(days)s") % {"days": _days_in_words(letter)})
    if letter.kind != Kind.CANCELLATION:
        paragraphs += [
            _("Where: %(place)s") % {"place": place},
            _("Instructor: %(names)s") % {"names": ", ".join(says["instructors"])},
        ]
    return LetterText(" ".join(subject.split())[:160], paragraphs, place)


def _opening(letter: ClassLetter, words: dict[str, str]) -> tuple[str, str]:
    """The subject and the first sentence."""
    says = letter.says
    match letter.kind:
        case Kind.INVITATION if says.get("moved_up"):
            return (
                _("You have a place: %(course)s, %(number)s") % words,
                _("A place became free, and you have it: %(course)s, class %(number)s.") % words,
            )
        case Kind.INVITATION:
            return (
                _("You have a place: %(course)s, %(number)s") % words,
                _("You have a place in %(course)s, class %(number)s.") % words,
            )
        case Kind.CHANGE:
            return (
                _("Changed: %(course)s, %(number)s") % words,
                _("Your class %(course)s, %(number)s, has changed. This is how it is now.") % words,
            )
    if words["reason"]:
        return (
            _("Cancelled: %(course)s, %(number)s") % words,
            _("The class %(course)s, %(number)s, is cancelled.") % words,
        )
    return (
        _("Place given free: %(course)s, %(number)s") % words,
        _("You have no place in %(course)s, class %(number)s, any more.") % words,
    )


def _days_in_words(letter: ClassLetter) -> str:
    hours = "–".join(moment.strftime("%H:%M") for moment in hours_of(letter))
    days = ", ".join(format_letter_day(day) for day in days_of(letter))
    return f"{days}; {hours}"


def lead_text(letters: Sequence[ClassLetter]) -> LetterText:
    """What a line lead reads of the letters that one act sent to their people."""
    first = letters[0]
    words = {"course": first.says["course"], "number": first.says["number"]}
    subject = _("Your people in %(course)s, %(number)s") % words
    lines = [
        _("%(name)s (%(employee)s): %(what)s")
        % {
            "name": letter.person.full_name,
            "employee": letter.person.employee_number,
            "what": _for_lead(letter),
        }
        for letter in letters
    ]
    days = _("Days: %(days)s") % {"days": _days_in_words(first)}
    return LetterText(
        " ".join(subject.split())[:160],
        [_("Class %(number)s, %(course)s.") % words, "\n".join(lines), days],
        "",
    )


def _for_lead(letter: ClassLetter) -> str:
    match letter.kind:
        case Kind.INVITATION:
            return _("has a place")
        case Kind.CHANGE:
            return _("has a place; the class has changed")
    return _("has no place any more")
