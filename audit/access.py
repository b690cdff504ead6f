"""Who may read which work-log checks and lists of people."""

from collections.abc import Collection
from datetime import datetime

from django.db.models import Q, QuerySet
from django.shortcuts import get_object_or_404

from people.models import Person, Role, Site, User
from people.queries.memberships import ever_at

from .models import PeopleList, WorkLogCheck
from .models.work_log import WorkLogCheckQuerySet


def work_log_checks_readable_by(user: User) -> WorkLogCheckQuerySet:
    """Checks against people of the user's sites alone: findings tell how everybody stood."""
    other_sites = Site.objects.exclude(pk__in=user.sites_as(Role.QUALITY))
    return WorkLogCheck.objects.exclude(sites__in=other_sites)


def work_log_check_for_quality(user: User, check_id: int) -> WorkLogCheck:
    return get_object_or_404(
        work_log_checks_readable_by(user).select_related("asked_by__person"), pk=check_id
    )


def names_of(user: User, numbers: Collection[str]) -> dict[str, str]:
    """Names by employee number, of people who are or were at the user's sites as quality."""
    sites = user.sites_as(Role.QUALITY)
    people = Person.objects.filter(Q(site__in=sites) | Q(pk__in=ever_at(sites)))
    named = people.filter(employee_number__in=numbers)
    return dict(named.values_list("employee_number", "full_name"))


def people_lists_of(user: User, now: datetime) -> QuerySet[PeopleList]:
    """The lists that the user brought, without what they say: nobody else reads one."""
    lists = PeopleList.objects.filter(brought_by=user)
    kept = Q(taken_in_at__isnull=False) | Q(expires_at__gte=now)
    return lists.filter(kept).defer("rows", "doubts", "result", "undoing")


def people_list_for(user: User, list_id: int, now: datetime) -> PeopleList:
    """One of them, as long as it is kept."""
    return get_object_or_404(
        PeopleList.objects.filter(brought_by=user).filter(
            Q(taken_in_at__isnull=False) | Q(expires_at__gte=now)
        ),
        pk=list_id,
    )
