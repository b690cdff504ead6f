"""Refusals that work of somebody shares, however it is recorded."""

from datetime import date

from django.utils.translation import gettext as _

from people.models import Person
from people.presenters.days import format_day
from training.exceptions import TrainingError


def refuse_before_start(person: Person, day: date) -> None:
    if why := why_before_start(person, day):
        raise TrainingError(why)


def why_before_start(person: Person, day: date) -> str:
    """Why a day is none of somebody's work here; empty where they had started by it."""
    if person.started_on is None or person.started_on <= day:
        return ""
    return _("%(name)s started on %(day)s, after that day.") % {
        "name": person.full_name,
        "day": format_day(person.started_on),
    }
