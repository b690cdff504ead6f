"""What stands before a board for qualification, in sentences that say what comes first."""

from collections.abc import Iterable, Mapping

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from certification.domain.path import Before, Hindrance, PathFigures
from certification.models import SchemeRequirement
from people.presenters.days import format_day
from training.models import Course, Exercise

Names = Mapping[str, str]


def names_in(rows: Iterable[SchemeRequirement]) -> dict[str, str]:
    """The titles of the exercises and courses that rows speak of, by code."""
    rows = list(rows)
    courses = {row.after_course for row in rows} - {""}
    exercises = {code for row in rows for code in (row.exercise_code, row.after_exercise)} - {""}
    titles = dict(
        Exercise.objects.published()
        .filter(code__in=exercises)
        .order_by("revision")
        .values_list("code", "title")
    )
    if courses:
        named = Course.objects.filter(code__in=courses).values_list("code", "title")
        titles |= {course_key(code): title for code, title in named}
    return titles


def course_key(code: str) -> str:
    """What a course is found by among titles, apart from an exercise of its code."""
    return f"course {code}"


def why_not_yet(hindrance: Hindrance, title: str, figures: PathFigures, names: Names) -> str:
    """Why the next board of an exercise waits, and what comes first."""
    words = {"exercise": title, "n": hindrance.failed}
    match hindrance.before:
        case Before.EXERCISE:
            other = names.get(hindrance.code, hindrance.code)
            return _("%(exercise)s comes after %(other)s, which is not passed yet.") % {
                **words,
                "other": other,
            }
        case Before.COURSE:
            other = names.get(course_key(hindrance.code), hindrance.code)
            return _(
                "%(exercise)s comes after the course %(other)s, which was not attended whole yet."
            ) % {**words, "other": other}
        case Before.AT_HAND:
            return _(
                "Board %(number)s of %(exercise)s may be the last attempt before training again: "
                "it is judged first."
            ) % {**words, "number": hindrance.code}
        case Before.RETRAINING:
            failed = ngettext(
                "%(n)d attempt at %(exercise)s failed:",
                "%(n)d attempts at %(exercise)s failed:",
                hindrance.failed,
            ) % {**words}
            return f"{failed} {training_again(figures)}"
        case Before.WAITING:
            assert hindrance.until is not None  # noqa: S101 - waiting always ends on a day
            return _(
                "An attempt at %(exercise)s failed: the next board is handed out on %(day)s or "
                "later."
            ) % {**words, "day": format_day(hindrance.until)}


def training_again(figures: PathFigures) -> str:
    """What counts as training again, as the end of a sentence."""
    if not figures.retraining_boards:
        return _("first a class that teaches it is attended, whole.")
    return ngettext(
        "first a class that teaches it is attended, whole, or %(n)d practice board is passed.",
        "first a class that teaches it is attended, whole, or %(n)d practice boards are passed.",
        figures.retraining_boards,
    ) % {"n": figures.retraining_boards}
