"""Refusals that every fact about somebody shares."""

from datetime import date, datetime

from django.utils.translation import gettext as _

from people.exceptions import PeopleError
from people.models import Person, User


def refuse_own(person: Person, actor: User, sentence: str) -> None:
    if actor.person_id == person.pk:
        raise PeopleError(sentence)


def refuse_future_day(person: Person, day: date, at: datetime) -> None:
    today = person.site.today(at)
    if day > today:
        raise PeopleError(
            _("%(day)s is still to come: at %(site)s it is %(today)s.")
            % {"day": day, "site": person.site, "today": today}
        )
