"""Stamps: put in somebody's hands, and taken back."""

from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _

from people.exceptions import PeopleError
from people.models import Person, Stamp, User
from records.services import trail

from .refusals import refuse_future_day


@transaction.atomic
def issue_stamp(*, person: Person, mark: str, issued_on: date, actor: User, at: datetime) -> Stamp:
    """Put a stamp in somebody's hands; raise PeopleError while somebody else holds it."""
    mark = mark.strip()
    if not mark:
        raise PeopleError(_("Type the mark that the stamp leaves."))
    refuse_future_day(person, issued_on, at)
    # Whoever writes to the trail is alone until the end of the transaction, so nobody can
    # issue the same mark between the look and the write.
    trail.record(
        actor=actor,
        act="stamp issued",
        about=("stamp", mark),
        payload={"stamp": mark, "person": person.employee_number, "issued_on": issued_on},
        at=at,
    )
    issues = Stamp.objects.filter(mark=mark).select_related("person")
    for stamp in issues:
        if stamp.returned_on is None or stamp.returned_on >= issued_on:
            raise PeopleError(_holder_message(stamp))
    return Stamp.objects.create(mark=mark, person=person, issued_on=issued_on, recorded_at=at)


@transaction.atomic
def return_stamp(*, stamp: Stamp, returned_on: date, actor: User, at: datetime) -> Stamp:
    """Take a stamp back; the day given is the last on which its marks are the holder's."""
    stamp = (
        Stamp.objects.select_for_update(of=("self",), no_key=True)
        .select_related("person__site")
        .get(pk=stamp.pk)
    )
    if stamp.returned_on is not None:
        raise PeopleError(
            _("Stamp %(mark)s was returned on %(day)s already.")
            % {"mark": stamp.mark, "day": stamp.returned_on}
        )
    if returned_on < stamp.issued_on:
        raise PeopleError(
            _("Stamp %(mark)s was issued on %(day)s: give that day or a later one.")
            % {"mark": stamp.mark, "day": stamp.issued_on}
        )
    refuse_future_day(stamp.person, returned_on, at)
    stamp.returned_on = returned_on
    stamp.save(update_fields=["returned_on"])
    trail.record(
        actor=actor,
        act="stamp returned",
        about=("stamp", stamp.mark),
        payload={
            "stamp": stamp.mark,
            "person": stamp.person.employee_number,
            "returned_on": returned_on,
        },
        at=at,
    )
    return stamp


def _holder_message(stamp: Stamp) -> str:
    facts = {
        "mark": stamp.mark,
        "name": stamp.person.full_name,
        "from": stamp.issued_on,
        "to": stamp.returned_on,
    }
    if stamp.returned_on is None:
        return _("%(name)s has held stamp %(mark)s since %(from)s: take it back first.") % facts
    return _("%(name)s held stamp %(mark)s from %(from)s through %(to)s: give a later day.") % facts
