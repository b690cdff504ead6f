"""Name, number and line lead, changed from a day on, so that the past keeps what it was."""

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from people import ports
from people.exceptions import PeopleError
from people.models import LineLeadChange, NameChange, Person, User
from people.models.memberships import FROM_THE_BEGINNING
from people.queries import reach

from .change_rows import write_line_lead, write_name_change
from .people import change_number, lock_person
from .refusals import refuse_future_day

CHANGEABLE = ("full_name", "employee_number", "line_lead")


@transaction.atomic
def change_from_day(
    *,
    person: Person,
    changes: Mapping[str, Any],
    from_day: date,
    reason: str,
    actor: User,
    at: datetime,
) -> Person:
    """Change some of `CHANGEABLE` from a day on, today or past; the rest stays.

    Whatever was recorded keeps the name it was recorded under, certificates among it; those in
    force can be issued again under the new one. The search finds them by both.

    Raises
    ------
    PeopleError
        If nothing differs, the day is to come, before the last change or beyond reason, the number
        is or was somebody else's, or they are not the actor's to change.
    """
    person = lock_person(person)
    if not reach.may_change_person(actor, person):
        raise PeopleError(
            _("What is known of %(name)s is changed by administrators of their sites.")
            % {"name": person.full_name}
        )
    refuse_future_day(person, from_day, at)
    if from_day <= FROM_THE_BEGINNING:
        raise PeopleError(
            _("%(day)s is no day from which it can hold. Give a later one.") % {"day": from_day}
        )
    if not reason.strip():
        raise PeopleError(_("Say why it changes."))
    differing = {
        name: changes[name]
        for name in CHANGEABLE
        if name in changes and changes[name] != getattr(person, name)
    }
    if not differing:
        raise PeopleError(_("Nothing differs from what is recorded. Change it, then save."))
    act: dict[str, Any] = {"from_day": from_day, "reason": reason.strip(), "actor": actor, "at": at}
    if "full_name" in differing:
        _change_name(person, differing["full_name"], act)
    if "line_lead" in differing:
        _change_line_lead(person, differing["line_lead"], act)
    if "employee_number" in differing:
        _refuse_before_former_number(person, from_day, at)
        until = from_day - timedelta(days=1)
        change_number(person, differing["employee_number"], actor, at, until_on=until)
        ports.whereabouts_changed(person)
    return person


def _change_name(person: Person, name: str, act: dict[str, Any]) -> None:
    _refuse_earlier(person.name_changes.order_by("-from_day").first(), act["from_day"])
    write_name_change(person, after=name, **act)
    person.full_name = name
    person.save(update_fields=["full_name"])


def _change_line_lead(person: Person, line_lead: Person | None, act: dict[str, Any]) -> None:
    if line_lead is not None and line_lead.pk == person.pk:
        raise PeopleError(_("Nobody is their own line lead. Choose somebody else, or nobody."))
    _refuse_earlier(person.line_lead_changes.order_by("-from_day").first(), act["from_day"])
    write_line_lead(person, before=person.line_lead, after=line_lead, **act)
    person.line_lead = line_lead
    person.save(update_fields=["line_lead"])


def _refuse_earlier(latest: NameChange | LineLeadChange | None, from_day: date) -> None:
    """A change comes after those before it, so that each day has one answer."""
    if latest is not None and from_day < latest.from_day:
        raise _changed_already(latest.from_day)


def _refuse_before_former_number(person: Person, from_day: date, at: datetime) -> None:
    """The same of numbers, of which the last day is kept; one of today alone may end at once."""
    latest = person.former_numbers.order_by("-until_on").first()
    if latest is None or from_day > latest.until_on or from_day == person.site.today(at):
        return
    raise _changed_already(min(latest.until_on + timedelta(days=1), person.site.today(at)))


def _changed_already(day: date) -> PeopleError:
    return PeopleError(
        _("It changed on %(day)s already. Give that day or a later one.") % {"day": day}
    )
