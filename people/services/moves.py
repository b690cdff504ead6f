"""Moving to another site from a day on, and taking a move back that was entered in error.

The rows are the truth and `Person.site` is the present read off them. A move to come is carried
out by whoever comes first after it begins, a request or a job, before anything else is read.
"""

from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _

from people.exceptions import PeopleError
from people.models import Person, Role, Site, SiteMembership, SiteMembershipWithdrawal, User
from people.queries import memberships, reach, written_down
from records.services import trail

from .memberships import add_membership, carry_out, next_look, rows_of
from .people import lock_person


@transaction.atomic
def move_person(
    *,
    person: Person,
    site: Site,
    from_day: date,
    reason: str,
    actor: User,
    at: datetime,
) -> SiteMembership:
    """Have somebody be at another site from a day on, past or at most a year ahead.

    Whoever leads them stays at the former site, so from then on they have no line lead until one
    is chosen.

    Raises
    ------
    PeopleError
        If they are there already, another move of theirs begins that day, the day is beyond
        reason, or they are not the actor's to move.
    """
    person = lock_person(person)
    _refuse_out_of_reach(person, site, actor)
    if not reason.strip():
        raise PeopleError(_("Say why they move."))
    return add_membership(
        person=person, site=site, from_day=from_day, reason=reason, actor=actor, at=at
    )


@transaction.atomic
def withdraw_move(*, membership: SiteMembership, reason: str, actor: User, at: datetime) -> None:
    """Count a move as never entered; raise PeopleError if it was withdrawn, or is no move."""
    person = lock_person(membership.person)
    row = next((row for row in rows_of(person) if row.pk == membership.pk), None)
    if row is None:
        raise PeopleError(_("That move was withdrawn already."))
    if row.is_first:
        raise PeopleError(_("Where somebody was before they first moved is no move."))
    if not reason.strip():
        raise PeopleError(_("Say why it is withdrawn."))
    before = [other for other in rows_of(person) if other.from_day < row.from_day]
    for site in (row.site, before[-1].site):
        _refuse_out_of_reach(person, site, actor)
    withdrawal = SiteMembershipWithdrawal.objects.create(
        membership=row, reason=reason.strip(), withdrawn_by=actor, recorded_at=at
    )
    trail.record(
        actor=actor,
        act=written_down.MOVE_WITHDRAWN,
        about=row,
        payload=written_down.withdrawal_content(withdrawal),
        at=at,
    )
    carry_out(person, at)


def _refuse_out_of_reach(person: Person, site: Site, actor: User) -> None:
    """Refuse whoever does not keep people at both sites, or may not end what they do here."""
    kept = actor.sites_as(Role.INSTRUCTOR, Role.ADMINISTRATOR)
    if not reach.may_change_person(actor, person) or site.pk not in kept:
        raise PeopleError(
            _("%(name)s is moved by whoever enters people at both sites.")
            % {"name": person.full_name}
        )
    administers = actor.has_role(Role.ADMINISTRATOR, site=person.site_id)
    if not administers and reach.sign_in_of(person) is not None:
        raise PeopleError(
            _("%(name)s signs in, so an administrator of %(site)s moves them.")
            % {"name": person.full_name, "site": person.site}
        )


# The present


def carry_out_moves(now: datetime) -> None:
    """Have everybody be where their rows say that they are now.

    Looks once a minute, and to the instant at the beginning of each move that was there to be
    seen; whatever a process enters itself it sees at once.
    """
    if not next_look.is_due(now):
        return
    rows = memberships.moves_to_look_at(now)
    next_look.at = min(
        (begins for row in rows if (begins := memberships.begins_at(row)) > now), default=None
    )
    next_look.looked_at = now
    begun = {row.person_id for row in rows if memberships.begins_at(row) <= now}
    for person_id in sorted(begun):
        _carry_out_of(person_id, now)


def _carry_out_of(person_id: int, now: datetime) -> None:
    person = Person.objects.select_related("site").get(pk=person_id)
    if memberships.site_at(rows_of(person), now) in (None, person.site):
        return
    with transaction.atomic():
        carry_out(lock_person(person), now)
