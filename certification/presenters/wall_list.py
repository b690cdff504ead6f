"""The list for the wall: who of a line may do what today, by scope.

Only who may is on it. Why somebody is not is nobody's business at the wall.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db.models import QuerySet, Subquery
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from certification.access import IN_FULL
from certification.domain.answers import Standing
from certification.models import Scope, StandingSpan
from certification.models.schemes import operators_first
from people.access import people_with_standing_for
from people.models import Person, Site, User
from people.models.people import PersonQuerySet
from people.presenters import paper
from people.presenters.days import format_instant, format_page_day

from .register import says_otherwise

SOURCE = Path(__file__).parent / "print" / "wall_list.typ"


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
    """Who may do what on a day; operators first, no scope that nobody may do."""
    spans = (
        StandingSpan.objects.on(day)
        .filter(standing=Standing.CERTIFIED, person__in=people.order_by().values("pk"))
        .select_related("person", "scope")
        .annotate(otherwise_on=Subquery(says_otherwise().values("first_day")[:1]))
        .order_by(
            operators_first("scope__"),
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


@dataclass(frozen=True, slots=True)
class WallList:
    """The list of a line at an instant, on the day that it then is at its site."""

    choice: Choice
    works: Sequence[Work]
    at: datetime

    @property
    def lead(self) -> str:
        return self.choice.lead.employee_number if self.choice.lead else ""


def wall_list(user: User, site_prefix: str, lead_number: str, *, at: datetime) -> WallList:
    """What a user may print of what they ask for."""
    choice = choice_for(user, site_prefix, lead_number)
    if choice.site is None:
        return WallList(choice, (), at)
    people = people_for(user).filter(site=choice.site)
    if choice.lead is not None:
        people = people.filter(line_lead=choice.lead)
    today = choice.site.today(at)
    return WallList(choice, works_of(people.at_work_on(today), today), at)


def check_address() -> str:
    return settings.PUBLIC_URL + reverse("certification:bench_check")


def texts_on_list(listed: WallList) -> list[str]:
    """What people typed and the list says."""
    texts = [listed.choice.site.name if listed.choice.site else ""]
    if listed.choice.lead:
        texts.append(listed.choice.lead.full_name)
    for work in listed.works:
        texts.append(work.scope.title)
        for entry in work.entries:
            texts += [entry.person.full_name, entry.restriction]
    return texts


def wall_pdf(listed: WallList) -> bytes:
    """Set the list on A4, as large as one page holds, and on more pages in large print.

    A name that cannot be printed is a notice above its number.
    """
    site, lead = listed.choice.site, listed.choice.lead
    zone = site.time_zone if site else "UTC"
    name = site.name if site else ""
    line = f"{paper.name_or_notice(lead.full_name)} ({lead.employee_number})" if lead else _("all")
    instant = format_instant(listed.at, zone)
    data = {
        "title": _("Who may do what"),
        "printed_utc": list(listed.at.astimezone(UTC).timetuple()[:6]),
        "site": name,
        "line": line,
        "printed": _("Printed %(instant)s") % {"instant": instant},
        "facts": [
            (_("Site"), name),
            (pgettext("of production", "Line"), line),
            (_("Printed"), instant),
        ],
        "works": [
            (work.scope.title, [_line(entry) for entry in work.entries]) for work in listed.works
        ],
        "address": check_address(),
        "words": {
            "today": _("Valid only on the day it was printed."),
            "check": _("Whether somebody may now is answered at"),
            "close": _(
                "Whoever is not named may not do the work today. “Until” is the last day if "
                "nothing is done before it."
            ),
            "page": _("Page {n} of {all}"),
        },
    }
    return paper.typeset(SOURCE, data, zone=zone)


def _line(entry: Entry) -> tuple[str, str, str, str]:
    until = f"{_('until')} {format_page_day(entry.until)}" if entry.until else ""
    only = f"{_('only:')} {entry.restriction}" if entry.restriction else ""
    name = paper.name_or_notice(entry.person.full_name)
    return name, entry.person.employee_number, until, only
