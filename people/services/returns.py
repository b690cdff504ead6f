"""Coming back after having left: the same person, under the same number."""

from collections.abc import Iterable
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _

from people import ports
from people.exceptions import PeopleError
from people.models import BadgePin, Person, Return, SignInCode, SiteRole, User
from people.queries import reach, written_down
from records.services import trail

from .people import lock_person
from .refusals import refuse_future_day
from .second_factors import forget_factors


@transaction.atomic
def return_person(
    *, person: Person, returned_on: date, reason: str, actor: User, at: datetime
) -> Return:
    """Have somebody who had left be back from a day on.

    Nothing comes back by itself: roles are taken away where the actor gives them, and what they
    signed in by, so that they need a new letter or link. A role that the actor may not take stays
    (`people.queries.reach.roles_on_return`), and with one the second factors do too, since nobody
    resets a sign-in that holds roles beyond their own sites. What they may do follows from
    certificates, vision tests and practice as the schemes say; the days away count as absence.

    Raises
    ------
    PeopleError
        If they have not left, the day is to come or not after their last one, or they are not
        the actor's to change.
    """
    person = lock_person(person)
    if not reach.may_change_person(actor, person):
        raise PeopleError(
            _("What is known of %(name)s is changed by administrators of their sites.")
            % {"name": person.full_name}
        )
    if person.left_on is None or not person.has_left(at):
        raise PeopleError(_("%(name)s has not left.") % {"name": person.full_name})
    refuse_future_day(person, returned_on, at)
    if returned_on <= person.left_on:
        raise PeopleError(
            _("They were here until %(day)s. Give a later day.") % {"day": person.left_on}
        )
    if not reason.strip():
        raise PeopleError(_("Say why they are back."))
    row = Return.objects.create(
        person=person,
        left_on=person.left_on,
        returned_on=returned_on,
        reason=reason.strip(),
        entered_by=actor,
        recorded_at=at,
    )
    person.left_on = None
    person.save(update_fields=["left_on"])
    ports.whereabouts_changed(person)
    content = written_down.return_content(row)
    trail.record(actor=actor, act=written_down.RETURNED, about=row, payload=content, at=at)
    user = User.objects.select_for_update(of=("self",), no_key=True).filter(person=person).first()
    if user is not None:
        _take_back(user, actor, at)
    return row


def _take_back(user: User, actor: User, at: datetime) -> None:
    """Take away what opened something before they left, as far as the actor may."""
    keeps_factors = not reach.may_reset_sign_in(actor, user)
    list(user.roles.select_for_update(no_key=True).order_by("pk"))
    roles = reach.roles_on_return(actor, user)
    user.roles.filter(pk__in=[role.pk for role in roles.taken]).delete()
    BadgePin.objects.filter(user=user).delete()
    SignInCode.objects.void([user], at)
    user.set_password(None)
    user.password_is_one_time = False
    user.save(update_fields=["password", "password_is_one_time"])
    if not keeps_factors:
        forget_factors(user=user, actor=actor, details={}, at=at)
    trail.record(
        actor=actor,
        act="sign-in reset on return",
        about=user,
        payload={
            "before": _written(roles.taken + roles.staying),
            "after": _written(roles.staying),
            "second_factors": "stay" if keeps_factors else "taken away",
        },
        at=at,
    )


def _written(roles: Iterable[SiteRole]) -> list[str]:
    return sorted(f"{role.site.prefix}: {role.role}" for role in roles)
