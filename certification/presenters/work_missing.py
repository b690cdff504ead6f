"""The list of a line's people of whom no work was recorded for some months, by scope.

A rule after ISO 9606-1, where the employer confirms every six months that somebody kept working
within their qualified range (read at second hand); how many months is the reader's to choose.
Only who may do the work today is on it, so that it tells of nobody why they may not.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

from django.conf import settings
from django.db.models import Max, QuerySet, Subquery
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from certification.domain.answers import Standing
from certification.domain.months import add_months
from certification.models import Scope, StandingSpan
from certification.models.schemes import operators_first
from people.models import Person, User
from people.presenters import paper
from people.presenters.days import format_instant, format_page_day
from training.models import PracticeRecord

from .register import says_otherwise
from .wall_list import SOURCE, Choice, choice_for, people_for

USUAL_MONTHS = 6
MOST_MONTHS = 60


@dataclass(frozen=True, slots=True)
class Missing:
    """Somebody, the last day of work recorded if any, and until when they may without more."""

    person: Person
    worked_on: date | None
    until: date | None


@dataclass(frozen=True, slots=True)
class ScopeMissing:
    scope: Scope
    entries: list[Missing] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class WorkMissing:
    """The list of a line at an instant; ``since`` is the day from which work is looked for."""

    choice: Choice
    months: int
    since: date | None
    scopes: Sequence[ScopeMissing]
    at: datetime

    @property
    def lead(self) -> str:
        return self.choice.lead.employee_number if self.choice.lead else ""


def scopes_missing(people: QuerySet[Person], day: date, since: date) -> list[ScopeMissing]:
    """Who may work on a day and has no work recorded since another; operators' scopes first.

    Whoever was certified since then is left out: their time runs from that day.
    """
    spans = (
        StandingSpan.objects.on(day)
        .filter(standing=Standing.CERTIFIED, person__in=people.order_by().values("pk"))
        .exclude(certificate__issued_on__gte=since)
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
    rows = (
        PracticeRecord.objects.not_withdrawn()
        .filter(person__in=people.order_by().values("pk"), performed_on__lte=day)
        .order_by()
        .values_list("person", "scope_code")
        .annotate(last=Max("performed_on"))
    )
    worked = {(person, code): last for person, code, last in rows}
    found: list[ScopeMissing] = []
    for span in spans:
        last = worked.get((span.person_id, span.scope.code))
        if last is not None and last >= since:
            continue
        if not found or found[-1].scope != span.scope:
            found.append(ScopeMissing(span.scope))
        until = span.otherwise_on and span.otherwise_on - timedelta(days=1)
        found[-1].entries.append(Missing(span.person, last, until))
    return found


def work_missing(
    user: User, site_prefix: str, lead_number: str, *, months: int, at: datetime
) -> WorkMissing:
    """What a user may read of what they ask for."""
    choice = choice_for(user, site_prefix, lead_number)
    if choice.site is None:
        return WorkMissing(choice, months, None, (), at)
    people = people_for(user).filter(site=choice.site)
    if choice.lead is not None:
        people = people.filter(line_lead=choice.lead)
    today = choice.site.today(at)
    since = add_months(today, -months)
    return WorkMissing(
        choice, months, since, scopes_missing(people.at_work_on(today), today, since), at
    )


def months_said(months: int) -> str:
    return ngettext(
        "No work recorded in %(n)d month", "No work recorded in %(n)d months", months
    ) % {"n": months}


def record_address() -> str:
    return settings.PUBLIC_URL + reverse("training:work_grid")


def texts_on_list(listed: WorkMissing) -> list[str]:
    """What people typed and the list says."""
    texts = [listed.choice.site.name if listed.choice.site else ""]
    if listed.choice.lead:
        texts.append(listed.choice.lead.full_name)
    for missing in listed.scopes:
        texts += [missing.scope.title, *(entry.person.full_name for entry in missing.entries)]
    return texts


def work_missing_pdf(listed: WorkMissing) -> bytes:
    """Set the list on A4, as the list for the wall is set."""
    site, lead = listed.choice.site, listed.choice.lead
    zone = site.time_zone if site else "UTC"
    name = site.name if site else ""
    line = f"{paper.name_or_notice(lead.full_name)} ({lead.employee_number})" if lead else _("all")
    instant = format_instant(listed.at, zone)
    data = {
        "title": months_said(listed.months),
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
            (missing.scope.title, [_line(entry) for entry in missing.entries])
            for missing in listed.scopes
        ],
        "address": record_address(),
        "words": {
            "today": _("Let each of them do such work, or say that they have."),
            "check": _("Work that was done is recorded at"),
            "close": _(
                "“Until” is the last day on which they may do the work if nothing is done before "
                "it. Whoever was certified within these months is not listed."
            ),
            "page": _("Page {n} of {all}"),
        },
    }
    return paper.typeset(SOURCE, data, zone=zone)


def _line(entry: Missing) -> tuple[str, str, str, str]:
    until = f"{_('until')} {format_page_day(entry.until)}" if entry.until else ""
    last = (
        _("last work %(day)s") % {"day": format_page_day(entry.worked_on)}
        if entry.worked_on
        else _("no work recorded")
    )
    return paper.name_or_notice(entry.person.full_name), entry.person.employee_number, until, last
