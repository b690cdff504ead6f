"""Days on which people are away, and how many of a line lead's people may be at once."""

from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Person, User
from people.services.people import lock_person
from records.services import trail
from training import access
from training.exceptions import TrainingError
from training.models import Absence, AwayLimit

MOST_DAYS = 366


@transaction.atomic
def enter_absence(
    *, person: Person, from_day: date, through_day: date, actor: User, at: datetime
) -> Absence:
    """Enter days on which somebody is not there; days that are entered already stay as they are.

    Raises
    ------
    TrainingError
        If the days cannot be, are over, or the person is not the actor's to enter them of.
    """
    person = lock_person(person)
    _refuse_stranger(person, actor)
    if through_day < from_day:
        raise TrainingError(_("The last day comes before the first. Change one of them."))
    if (through_day - from_day).days >= MOST_DAYS:
        raise TrainingError(_("That is more than a year. Enter the days up to a year."))
    if through_day < person.site.today(at):
        raise TrainingError(_("These days are over, so no plan asks for them."))
    absence, is_new = Absence.objects.get_or_create(
        person=person,
        from_day=from_day,
        through_day=through_day,
        defaults={"entered_by": actor, "recorded_at": at},
    )
    if is_new:
        trail.record(
            actor=actor, act="absence entered", about=person, payload=_payload(absence), at=at
        )
    return absence


@transaction.atomic
def remove_absence(*, absence: Absence, actor: User, at: datetime) -> None:
    """Take days away out again, so that somebody counts as there.

    Raises
    ------
    TrainingError
        If somebody took them out just now, or the person is not the actor's.
    """
    person = lock_person(absence.person)
    _refuse_stranger(person, actor)
    if not Absence.objects.filter(pk=absence.pk).exists():
        raise TrainingError(_("These days were taken out already."))
    payload = _payload(absence)
    absence.delete()
    trail.record(actor=actor, act="absence taken out", about=person, payload=payload, at=at)


@transaction.atomic
def limit_away(*, lead: Person, people: int | None, actor: User, at: datetime) -> None:
    """Set how many of a line lead's people may be away on one day; None is no limit.

    Raises
    ------
    TrainingError
        If the limit is not the actor's to set.
    """
    lead = lock_person(lead)
    if not access.leads_limited_by(actor).filter(pk=lead.pk).exists():
        raise TrainingError(
            _("The limit of %(name)s is set by themselves or by an instructor of their people.")
            % {"name": lead.full_name}
        )
    before = AwayLimit.objects.filter(lead=lead).values_list("people", flat=True).first()
    if before == people:
        return
    if people is None:
        AwayLimit.objects.filter(lead=lead).delete()
    else:
        AwayLimit.objects.update_or_create(
            lead=lead, defaults={"people": people, "recorded_at": at}
        )
    payload = {"lead": lead.employee_number, "before": before, "after": people}
    trail.record(actor=actor, act="away limit set", about=lead, payload=payload, at=at)


def _refuse_stranger(person: Person, actor: User) -> None:
    if not access.people_whose_days_away(actor).filter(pk=person.pk).exists():
        raise TrainingError(
            _("Days away of %(name)s are entered by their line lead or an instructor there.")
            % {"name": person.full_name}
        )


def _payload(absence: Absence) -> dict[str, Any]:
    return {
        "person": absence.person.employee_number,
        "from": absence.from_day,
        "through": absence.through_day,
    }
