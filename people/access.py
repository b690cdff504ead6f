"""Who may see which person, class and exercise.

A person's results are for themselves, for instructors and quality at their site. Line
leads see how their own people stand and nothing else; administrators see who somebody is
and how they sign in. What a user may not see answers like what does not exist.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from functools import wraps

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.db.models import Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django_htmx.middleware import HtmxDetails

from .models import (
    FormerEmployeeNumber,
    Person,
    Role,
    SharedTablet,
    Site,
    User,
)
from .models.people import PersonQuerySet
from .queries.memberships import were_at
from .queries.reach import may_change_person
from .queries.site_days import Days, days_now

READERS = (Role.INSTRUCTOR, Role.QUALITY)
ROW_NUMBER = re.compile(r"[0-9]{1,18}")
"""What a database can hold as the number of a row."""
LARGEST_ROW = 10**18 - 1


class UserRequest(HttpRequest):
    """A request of somebody who is signed in."""

    user: User
    htmx: HtmxDetails


View = Callable[..., HttpResponseBase]


def role_required(*roles: str) -> Callable[[View], View]:
    """Let in who holds one of the roles at any site; others learn that they may not."""

    def decorate(view: View) -> View:
        @login_required
        @wraps(view)
        def wrapper(request, *args, **kwargs):
            if not request.user.has_role(*roles):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        return wrapper

    return decorate


def row_number(text: str) -> int:
    """A row's number as an address names it; 0, which is no row's, for any other text."""
    return int(text) if ROW_NUMBER.fullmatch(text) else 0


def own_person(user: User) -> Person:
    """The person behind a sign-in, or 404 for a sign-in that is nobody's."""
    if user.person is None:
        raise Http404
    return user.person


def today_for(user: User) -> date:
    """The day where the user works, or in UTC for a sign-in that is nobody's."""
    return user.person.site.today() if user.person else timezone.localdate()


def days_for(user: User, site_ids: set[int], now: datetime) -> Days:
    """The day that it is at each of these sites, beside the one where the user works."""
    today = user.person.site.today(now) if user.person else timezone.localdate(now)
    # Whoever reads one site alone reads it from there, as nearly everybody does.
    if user.person is not None and site_ids <= {user.person.site_id}:
        return Days(today)
    return days_now(now, today, site_ids)


def people_with_results_for(user: User) -> PersonQuerySet:
    """People whose boards and results the user may read."""
    return Person.objects.filter(Q(pk=user.person_id or 0) | Q(site__in=user.sites_as(*READERS)))


def people_with_standing_for(user: User) -> PersonQuerySet:
    """People whose standing the user may read: those with results, and a lead's own people."""
    return Person.objects.filter(_read_by(user))


def _read_by(user: User) -> Q:
    lead = Q()
    if user.person_id and user.has_role(Role.LINE_LEAD):
        lead = Q(line_lead=user.person_id)
    return Q(pk=user.person_id or 0) | Q(site__in=user.sites_as(*READERS)) | lead


def people_with_standing_then(user: User, day: date) -> PersonQuerySet:
    """The same of a past day, and whoever was at the user's sites on it and has moved since."""
    were_here = were_at(user.sites_as(*READERS), day)
    return Person.objects.filter(_read_by(user) | Q(pk__in=were_here))


def people_listed_for(user: User) -> PersonQuerySet:
    """People whom the user finds in lists and on whose page they may land."""
    administered = Q(site__in=user.sites_as(Role.ADMINISTRATOR))
    return Person.objects.filter(
        Q(pk__in=people_with_standing_for(user).values("pk")) | administered
    )


def person_for_page(user: User, employee_number: str) -> Person:
    """Somebody whom the user finds in lists, by their number or one they had before."""
    former = FormerEmployeeNumber.objects.filter(employee_number=employee_number)
    return get_object_or_404(
        people_listed_for(user).select_related("site", "line_lead"),
        Q(employee_number=employee_number) | Q(pk__in=former.values("person")),
    )


def person_with_results(user: User, employee_number: str) -> Person:
    return get_object_or_404(
        people_with_results_for(user).select_related("site"), employee_number=employee_number
    )


@dataclass(frozen=True)
class PersonRights:
    """What a user may see of somebody and do about them."""

    own: bool
    results: bool
    standing: bool
    edit: bool
    teach: bool
    facts: bool
    stamps: bool
    sign_in: bool
    data: bool


def rights_over(user: User, person: Person) -> PersonRights:
    own = user.person_id == person.pk
    reads = user.has_role(*READERS, site=person.site_id)
    teaches = user.has_role(Role.INSTRUCTOR, site=person.site_id) and not own
    administers = user.has_role(Role.ADMINISTRATOR, site=person.site_id)
    leads = person.line_lead_id is not None and person.line_lead_id == user.person_id
    return PersonRights(
        own=own,
        results=own or reads,
        standing=own or reads or (leads and user.has_role(Role.LINE_LEAD)),
        edit=administers or (teaches and may_change_person(user, person)),
        teach=teaches,
        facts=reads and not own,
        stamps=administers or user.has_role(Role.QUALITY, site=person.site_id),
        sign_in=administers,
        data=own or administers or user.has_role(Role.QUALITY, site=person.site_id),
    )


def people_with_stamps_of(user: User) -> PersonQuerySet:
    """People to whom the user issues stamps, and from whom they take them back."""
    return Person.objects.filter(site__in=user.sites_as(Role.QUALITY, Role.ADMINISTRATOR))


def person_with_right(user: User, employee_number: str, right: str) -> Person:
    """Somebody over whom the user has one of the rights of `PersonRights`, or 404."""
    person = person_for_page(user, employee_number)
    if not getattr(rights_over(user, person), right):
        raise Http404
    return person


def person_to_erase(user: User, employee_number: str) -> Person:
    """Somebody who has left, whose site the user administers; never themselves."""
    person = person_with_right(user, employee_number, "sign_in")
    if person.pk == user.person_id or not person.has_left(timezone.now()):
        raise Http404
    return person


def enrolling_site_ids(user: User) -> set[int]:
    """Ids of the sites where the user enters people."""
    return user.sites_as(Role.INSTRUCTOR, Role.ADMINISTRATOR)


def kiosks_administered_by(user: User) -> QuerySet[User]:
    """Sign-ins of the kiosks at sites that the user administers."""
    return User.objects.filter(
        person=None,
        roles__role=Role.KIOSK,
        roles__site__in=user.sites_as(Role.ADMINISTRATOR),
    ).order_by("roles__site__name", "employee_number")


def kiosk_for_administrator(user: User, name: str) -> User:
    return get_object_or_404(kiosks_administered_by(user), employee_number=name)


def sites_sharing_tablets(user: User) -> QuerySet[Site]:
    """Sites where the user declares tablets shared: as an instructor or an administrator."""
    return Site.objects.filter(pk__in=user.sites_as(Role.INSTRUCTOR, Role.ADMINISTRATOR))


def tablets_managed_by(user: User) -> QuerySet[SharedTablet]:
    return SharedTablet.objects.filter(site__in=sites_sharing_tablets(user)).select_related(
        "site", "declared_by__person"
    )


def tablet_for_manager(user: User, tablet_id: int) -> SharedTablet:
    return get_object_or_404(tablets_managed_by(user), pk=tablet_id)


def sites_with_calendar(user: User) -> QuerySet[Site]:
    """Sites whose closed days the user enters: who plans classes there, and who sets it up."""
    return Site.objects.filter(pk__in=user.sites_as(Role.INSTRUCTOR, Role.ADMINISTRATOR))


def site_for_calendar(user: User, prefix: str) -> Site:
    """The site of that prefix; without one, the user's own, or the first by name."""
    sites = sites_with_calendar(user)
    if prefix:
        return get_object_or_404(sites, prefix=prefix)
    own = sites.filter(pk=user.person.site_id).first() if user.person else None
    first = own or sites.order_by("name").first()
    if first is None:
        raise Http404
    return first


def sites_administered_by(user: User) -> QuerySet[Site]:
    return Site.objects.filter(pk__in=user.sites_as(Role.ADMINISTRATOR))


def site_for_administrator(user: User, prefix: str) -> Site:
    return get_object_or_404(sites_administered_by(user), prefix=prefix)
