"""Who still lets others in once somebody has left."""

from collections.abc import Collection
from datetime import date, datetime

from django.utils.translation import gettext as _

from people.models import Role, SiteRole, User


def ends_sooner(before: date | None, after: date | None) -> bool:
    """Whether a last day is entered, or comes earlier than the one that was."""
    return after is not None and (before is None or after < before)


def administrators_among(people: Collection[int]) -> set[int]:
    """Keys of the people whose sign-in administers a site."""
    roles = SiteRole.objects.filter(role=Role.ADMINISTRATOR, user__person__in=people)
    return {key for key in roles.values_list("user__person", flat=True) if key is not None}


def administrators_stay(at: datetime, *, without: Collection[int]) -> bool:
    """Whether somebody goes on to administer a site once these people have a last day.

    Whoever has a last day already does not count, though it is to come: nobody would be left then.
    """
    roles = SiteRole.objects.filter(role=Role.ADMINISTRATOR).select_related("user__person__site")
    return any(_goes_on(role.user, at, without) for role in roles)


def _goes_on(user: User, at: datetime, without: Collection[int]) -> bool:
    if not user.may_sign_in(at):
        return False
    person = user.person
    return person is None or (person.left_on is None and person.pk not in without)


def last_administrator(names: str) -> str:
    """Why some people cannot leave, by their names."""
    return _(
        "Nobody would be left who administers a site, can sign in and has no last day: make "
        "somebody else administrator before %(names)s leaves."
    ) % {"names": names}
