"""The list for the wall: who of a line may do what today, by scope.

Only who may is on it. Why somebody is not is nobody's business at the wall.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import QuerySet, Subquery

from certification.access import IN_FULL
from certification.domain.answers import Standing
from certification.models import Scope, StandingSpan
from people.access import people_with_standing_for
from people.models import Person, Site, User
from people.models.people import PersonQuerySet

from .register import says_otherwise


@dataclass(frozen=True, slots=True)
class Entry:
    """Somebody who may, and the last day on which they will without anything being done.

    A suspension that is to come is among what ends it, and what ends it is not said.
    """

    person: Person
    until: date | None
    restriction: str


@dataclass(frozen=True, slots=True)
class Work:
    """One scope and everybody of the line who may do it today."""

    scope: Scope
    entries: list[Entry]


def people_for(user: User) -> PersonQuerySet:
    """Whom a user may print: everybody at sites where they teach or audit, and their own line."""
    mine = people_with_standing_for(user)
    here = user.sites_as(*IN_FULL)
    own_line = mine.filter(line_lead=user.person_id or 0)
    return mine.filter(site__in=here) | own_line


def works_of(people: QuerySet[Person], day: date) -> list[Work]:
    """Who may do what on a day; people and scopes in order, no scope that nobody may do."""
    spans = (
        StandingSpan.objects.on(day)
        .filter(standing=Standing.CERTIFIED, person__in=people.order_by().values("pk"))
        .select_related("person", "scope")
        .annotate(otherwise_on=Subquery(says_otherwise().values("first_day")[:1]))
        .order_by(
            "scope__level",
            "scope__title",
            "scope_id",
            "person__full_name",
            "person__employee_number",
        )
    )
    works: list[Work] = []
    for span in spans:
        if not works or works[-1].scope != span.scope:
            works.append(Work(span.scope, []))
        until = span.otherwise_on and span.otherwise_on - timedelta(days=1)
        works[-1].entries.append(Entry(span.person, until, span.restriction))
    return works


@dataclass(frozen=True, slots=True)
class Choice:
    """The lines a user may print at a site, and the one chosen."""

    sites: Sequence[Site]
    site: Site | None
    leads: Sequence[Person]
    lead: Person | None


def choice_for(user: User, site_prefix: str, lead_number: str) -> Choice:
    """Read what is asked for; what makes no sense is the user's own site and everybody there."""
    people = people_for(user)
    sites = list(Site.objects.filter(pk__in=people.order_by().values("site")))
    home = user.person.site_id if user.person else None
    site = next((candidate for candidate in sites if candidate.prefix == site_prefix), None)
    if site is None:
        site = next(
            (candidate for candidate in sites if candidate.pk == home), sites[0] if sites else None
        )
    leads = list(
        Person.objects.filter(
            pk__in=people.filter(site=site).order_by().values("line_lead")
        ).order_by("full_name", "employee_number")
    )
    lead = next((person for person in leads if person.employee_number == lead_number), None)
    return Choice(sites, site, leads, lead)
