"""Months ahead: what ends next for whom, what must be done by when, and the places planned.

Everything is read from the stored ends of how somebody stands today, so list, chart and
reminders are the same one timeline. Counts are made by the database.

Whoever does not read somebody in full (a line lead) is told one day for each scope, the first on
which something ends, and to see the instructor: not what it is, since what is left over when the
others are named would be the vision test.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from django.db.models import (
    Case,
    CharField,
    Count,
    Exists,
    F,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import TruncMonth
from django.db.models.lookups import Exact
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from certification.access import IN_FULL
from certification.domain.answers import Standing
from certification.domain.disclosure import SEE_INSTRUCTOR, end_kind_for, reader_for
from certification.domain.months import add_months
from certification.models import Scope, StandingEnd, StandingSpan
from certification.models.schemes import operators_first
from people.access import people_with_standing_for
from people.models import Person, Role, Site, User
from people.models.people import at_work_on
from people.queries.site_days import Days
from training.access import sessions_readable_by
from training.models import ClassSession, Course
from training.queries.classes import enrolled_ahead, scopes_taught

Kind = StandingEnd.Kind
ONCE_A_PERSON = (Kind.VISION, SEE_INSTRUCTOR)

TO_DO = {
    str(Kind.CERTIFICATE): _lazy("renew"),
    str(Kind.VISION): _lazy("have a vision test"),
    str(Kind.PRACTICE): _lazy("do such work and have it recorded"),
    SEE_INSTRUCTOR: _lazy("see the instructor"),
}


@dataclass(frozen=True, slots=True)
class MonthsFilters:
    """What is asked for; ``day`` is today, and everything else may be left open.

    ``elsewhere`` has the sites where it is another day, which is then that of their people.
    """

    day: date
    months: int = 12
    site: Site | None = None
    scope: Scope | None = None
    lead: Person | None = None
    kind: str = ""
    elsewhere: tuple[tuple[date, frozenset[int]], ...] = ()

    @property
    def days(self) -> Days:
        return Days(self.day, self.elsewhere)

    @property
    def first_month(self) -> date:
        return self.days.first.replace(day=1)

    @property
    def last_day(self) -> date:
        """So many months from today, counted as a certificate's are: that day is among them."""
        return add_months(self.day, self.months)

    def each_month(self) -> list[date]:
        """The months of the calendar; of the first and the last only a part counts."""
        first = self.first_month
        last = self.last_day
        months = (last.year - first.year) * 12 + last.month - first.month
        return [add_months(first, n) for n in range(months + 1)]


@dataclass(frozen=True, slots=True)
class Line:
    """One end of somebody's standing, and what must be done by its last good day.

    ``sessions`` are classes to come that the person is in and that begin by that day, ``too_late``
    those that begin after it; of a vision test, for which nobody needs a class, there are none.
    """

    person: Person
    scope: Scope
    kind: str
    last_day: date
    certificate_number: str
    opens_on: date | None
    is_first: bool
    in_full: bool
    day: date
    sessions: Sequence[ClassSession] = ()
    too_late: Sequence[ClassSession] = ()
    may_be_placed: bool = False

    @property
    def to_do(self) -> Any:
        return TO_DO[self.kind]

    @property
    def all_scopes(self) -> bool:
        """Whether it is one thing for every scope that asks for it."""
        return self.kind == Kind.VISION


@dataclass(slots=True)
class Places:
    """Places in the classes of a course that begin in a month."""

    planned: int = 0
    taken: int = 0

    @property
    def free(self) -> int:
        return max(self.planned - self.taken, 0)


@dataclass(slots=True)
class ScopeRow:
    """People whose certificate of one scope ends, by month."""

    scope: Scope
    ends: dict[date, int] = field(default_factory=dict)

    @property
    def total(self) -> int:
        return sum(self.ends.values())


@dataclass(slots=True)
class KindRow:
    """People for whom one kind of thing falls due, by month."""

    kind: str
    word: str
    ends: dict[date, int] = field(default_factory=dict)

    @property
    def total(self) -> int:
        return sum(self.ends.values())


@dataclass(slots=True)
class CourseRow:
    """Places in the classes of one course, by month.

    By course and not by scope, since a class that teaches several would be counted with each.
    """

    course: Course
    places: dict[date, Places] = field(default_factory=dict)

    @property
    def word(self) -> str:
        return _("Class: %(course)s") % {"course": self.course.title}


@dataclass(frozen=True, slots=True)
class PlannedClass:
    """A class that begins in these months or is being held, and what it teaches."""

    session: ClassSession
    teaches: list[Scope]


@dataclass(frozen=True, slots=True)
class Overview:
    months: list[date]
    scopes: list[ScopeRow]
    kinds: list[KindRow]
    courses: list[CourseRow]
    classes: list[PlannedClass]

    @property
    def sessions(self) -> list[ClassSession]:
        return [planned.session for planned in self.classes]

    @property
    def is_empty(self) -> bool:
        return not (any(row.total for row in self.scopes) or any(row.total for row in self.kinds))


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row of the table behind the picture, with a cell for each month."""

    label: Any
    cells: list[str]
    is_places: bool = False


def table_of(overview: Overview) -> list[TableRow]:
    """The picture's figures; a month without any is an empty cell."""
    rows = []
    for row in overview.scopes:
        rows.append(
            TableRow(
                _("%(scope)s: to renew") % {"scope": row.scope.title},
                [_figure(row.ends.get(month)) for month in overview.months],
            )
        )
    for kind in overview.kinds:
        rows.append(
            TableRow(kind.word, [_figure(kind.ends.get(month)) for month in overview.months])
        )
    for course in overview.courses:
        cells = [
            _("%(n)d of %(all)d") % {"n": places.free, "all": places.planned} if places else ""
            for places in (course.places.get(month) for month in overview.months)
        ]
        label = _("%(class)s, places free of those planned") % {"class": course.word}
        rows.append(TableRow(label, cells, is_places=True))
    return rows


def _figure(count: int | None) -> str:
    return str(count) if count else ""


# Who and what


def ends_that_match(user: User, filters: MonthsFilters) -> QuerySet[StandingEnd]:
    """The ends within the months asked for, of people at work whose standing the user may read."""
    people = people_with_standing_for(user).filter(filters.days.each(at_work_on, "site"))
    if filters.site is not None:
        people = people.filter(site=filters.site)
    if filters.lead is not None:
        people = people.filter(line_lead=filters.lead)
    spans = StandingSpan.objects.filter(
        standing=Standing.CERTIFIED, person__in=people.order_by().values("pk")
    )
    if filters.scope is not None:
        spans = spans.filter(scope=filters.scope)
    in_full = _in_full(user)
    on_day = Q(span__in=spans.on_days(filters.days).order_by().values("pk"))
    ends = StandingEnd.objects.filter(
        filters.days.each(_ends_from, "span__person__site"), last_day__lte=filters.last_day
    ).order_by()
    if filters.kind and filters.kind != SEE_INSTRUCTOR:
        return ends.filter(on_day, in_full, kind=filters.kind)
    if not user.has_role(Role.LINE_LEAD):
        return ends.none() if filters.kind else ends.filter(on_day, in_full)
    visible = ends.filter(
        ~in_full, _ends_the_answer(filters), span__in=spans.order_by().values("pk")
    )
    if filters.kind:
        return visible
    return ends.filter((on_day & in_full) | Q(pk__in=visible.values("pk")))


def _ends_from(day: date) -> Q:
    return Q(last_day__gte=day)


def _ends_the_answer(filters: MonthsFilters) -> Q:
    return filters.days.each(_ends_the_answer_of, "span__person__site")


def _ends_the_answer_of(day: date) -> Q:
    """Ends on whose next day the answer of the day asked about becomes another, one of each.

    The day is the one that the register says: nothing is told that would end it beyond, nor
    short of it what another certificate carries on.
    """
    of_pair = StandingSpan.objects.filter(
        person=OuterRef("span__person"), scope=OuterRef("span__scope")
    )
    said = {"standing": OuterRef("span__standing"), "restriction": OuterRef("span__restriction")}
    later = of_pair.filter(first_day__gt=OuterRef("span__first_day")).order_by("first_day")
    between = of_pair.filter(first_day__gt=day, first_day__lt=OuterRef("span__first_day")).exclude(
        **said
    )
    before = StandingEnd.objects.filter(span=OuterRef("span")).filter(
        Q(last_day__lt=OuterRef("last_day"))
        | Q(last_day=OuterRef("last_day"), pk__lt=OuterRef("pk"))
    )
    next_on, otherwise_on = (
        Subquery(spans.values("first_day")[:1]) for spans in (later, later.exclude(**said))
    )
    return (
        Q(last_day=F("span__last_day"))
        & ~Exists(before)
        & Q(Exists(of_pair.on(day).filter(**said)), ~Exists(between))
        & Q(Exact(next_on, otherwise_on))
    )


def _in_full(user: User) -> Q:
    """Ends of people of whom the user may know what it is that ends."""
    return Q(span__person=user.person_id or 0) | Q(span__person__site__in=user.sites_as(*IN_FULL))


def kinds_told(user: User) -> list[tuple[str, Any]]:
    """What the list can be narrowed to, in words the user may know."""
    if not user.sites_as(*IN_FULL):
        return [(SEE_INSTRUCTOR, _("to see the instructor"))]
    return [
        (str(Kind.CERTIFICATE), _("certificates to renew")),
        (str(Kind.VISION), _("vision tests to have")),
        (str(Kind.PRACTICE), _("work to be done")),
    ]


# The overview


def overview(user: User, filters: MonthsFilters) -> Overview:
    """Counts by month and scope, and the classes that begin in these months."""
    ends = ends_that_match(user, filters)
    case = Case(
        When(~_in_full(user), then=Value(SEE_INSTRUCTOR)),
        default=F("kind"),
        output_field=CharField(),
    )
    by_month = ends.annotate(month=TruncMonth("last_day"), told=case)
    by_scope = (
        by_month.exclude(told__in=ONCE_A_PERSON)
        .values_list("told", "month", "span__scope")
        .annotate(people=Count("span__person", distinct=True))
    )
    # A vision test is one thing to do, however many scopes ask for it; so is a talk.
    by_person = (
        by_month.filter(told__in=ONCE_A_PERSON)
        .values_list("told", "month")
        .annotate(people=Count("span__person", distinct=True))
    )
    scopes = {scope.pk: ScopeRow(scope) for scope in _scopes(filters)}
    kinds = {
        kind: KindRow(kind, word)
        for kind, word in (
            (str(Kind.VISION), _("Vision tests to have")),
            (str(Kind.PRACTICE), _("Work to be done")),
            (SEE_INSTRUCTOR, _("To see the instructor")),
        )
    }
    for kind, month, scope_id, people in by_scope:
        if kind == Kind.CERTIFICATE:
            scopes[scope_id].ends[month] = people
        else:
            row = kinds[kind].ends
            row[month] = row.get(month, 0) + people
    for kind, month, people in by_person:
        kinds[kind].ends[month] = people
    classes = _classes(user, filters)
    return Overview(
        filters.each_month(),
        [row for row in scopes.values() if row.ends],
        [row for row in kinds.values() if row.ends],
        _courses(classes, filters),
        classes,
    )


def _scopes(filters: MonthsFilters) -> QuerySet[Scope]:
    scopes = Scope.objects.filter(pk=filters.scope.pk) if filters.scope else Scope.objects.all()
    return scopes.order_by(operators_first(), "title")


def _sessions(user: User, filters: MonthsFilters) -> list[ClassSession]:
    """Classes the user may read that begin in these months or are being held."""
    sessions = (
        sessions_readable_by(user)
        .standing()
        .filter(
            filters.days.each(lambda day: Q(ends_on__gte=day), "site"),
            starts_on__lte=filters.last_day,
        )
    )
    if filters.site is not None:
        sessions = sessions.filter(site=filters.site)
    return list(sessions.with_list_columns().order_by("starts_on", "number"))


def _classes(user: User, filters: MonthsFilters) -> list[PlannedClass]:
    """Each class once, with the scopes that its course's exercises are credited to."""
    sessions = _sessions(user, filters)
    taught = scopes_taught({session.course_revision_id for session in sessions})
    codes = {code for of_revision in taught.values() for code in of_revision}
    scopes = list(Scope.objects.filter(code__in=codes).order_by(operators_first(), "title"))
    planned = [
        PlannedClass(
            session,
            [scope for scope in scopes if scope.code in taught.get(session.course_revision_id, ())],
        )
        for session in sessions
    ]
    if filters.scope is None:
        return planned
    return [one for one in planned if filters.scope in one.teaches]


def _courses(classes: Sequence[PlannedClass], filters: MonthsFilters) -> list[CourseRow]:
    """Places by course and month; a class that is being held counts in the first month."""
    rows: dict[int, CourseRow] = {}
    for planned in classes:
        session = planned.session
        course = session.course_revision.course
        row = rows.setdefault(course.pk, CourseRow(course))
        month = max(session.starts_on.replace(day=1), filters.first_month)
        places = row.places.setdefault(month, Places())
        places.planned += session.places
        places.taken += session.enrolled  # type: ignore[attr-defined]
    return list(rows.values())


# The list


def listed(user: User, filters: MonthsFilters) -> QuerySet[StandingEnd]:
    """The ends in order of their day; one that several scopes share stands once."""
    ends = ends_that_match(user, filters)
    in_full = _in_full(user)
    twin = StandingEnd.objects.filter(
        span__in=StandingSpan.objects.on_days(filters.days).filter(person=OuterRef("span__person")),
        kind=Kind.VISION,
        source=OuterRef("source"),
        pk__lt=OuterRef("pk"),
    )
    sooner = StandingEnd.objects.filter(span=OuterRef("span"), last_day__lt=OuterRef("last_day"))
    if filters.scope is None:
        ends = ends.exclude(in_full & Q(kind=Kind.VISION) & Exists(twin))
    return (
        ends.annotate(is_first=~Exists(sooner))
        .select_related(
            "span__person__site",
            "span__person__line_lead",
            "span__scope",
            "span__certificate__scheme_revision",
        )
        .order_by(
            "last_day",
            "span__person__full_name",
            "span__person__employee_number",
            # Not by when rows were written, which would tell what a line lead may not know.
            "span__scope__code",
            "pk",
        )
    )


def lines_of(user: User, filters: MonthsFilters, ends: Sequence[StandingEnd]) -> list[Line]:
    """Ends as lines, with the classes each person is enrolled in that begin in time."""
    sites = user.sites_as(*IN_FULL)
    enrolled = enrolled_ahead(
        {end.span.person_id for end in ends}, sessions_readable_by(user), filters.days.first
    )
    teaches = user.sites_as(Role.INSTRUCTOR)
    return [_line(user, end, sites, teaches, enrolled, filters.days) for end in ends]


def all_lines(user: User, filters: MonthsFilters) -> Iterator[Line]:
    """Every line asked for, in batches; for an export."""
    batch: list[StandingEnd] = []
    for end in listed(user, filters).iterator(chunk_size=500):
        batch.append(end)
        if len(batch) == 500:
            yield from lines_of(user, filters, batch)
            batch = []
    yield from lines_of(user, filters, batch)


def _line(
    user: User,
    end: StandingEnd,
    sites: set[int],
    teaches: set[int],
    enrolled: dict[int, list[ClassSession]],
    days: Days,
) -> Line:
    span = end.span
    person = span.person
    in_full = person.site_id in sites or person.pk == user.person_id
    kind = end_kind_for(end.kind, reader_for(in_full=in_full))
    opens_on = None
    if kind == Kind.CERTIFICATE and span.certificate is not None:
        window = span.certificate.scheme_revision.renewal_window_days
        if window and end.last_day >= span.certificate.valid_through:
            opens_on = span.certificate.valid_through - timedelta(days=window)
    to_come = [] if kind == Kind.VISION else enrolled.get(person.pk, [])
    return Line(
        person=person,
        scope=span.scope,
        kind=kind,
        last_day=end.last_day,
        certificate_number=span.certificate.number if span.certificate else "",
        opens_on=opens_on,
        is_first=end.is_first,  # type: ignore[attr-defined]
        in_full=in_full,
        day=days.at(person.site_id),
        sessions=[one for one in to_come if one.starts_on <= end.last_day],
        too_late=[one for one in to_come if one.starts_on > end.last_day],
        may_be_placed=person.site_id in teaches and person.pk != user.person_id,
    )


COLUMNS = (
    "last_good_day",
    "employee_number",
    "full_name",
    "site",
    "line_lead",
    "scope",
    "scope_title",
    "what_ends",
    "to_do",
    "renewable_from",
    "certificate_number",
    "ends_first",
    "classes",
)


def as_row(line: Line) -> list[Any]:
    """A line as the columns of an export."""
    return [
        line.last_day,
        line.person.employee_number,
        line.person.full_name,
        line.person.site.name,
        line.person.line_lead.employee_number if line.person.line_lead else "",
        "" if line.all_scopes else line.scope.code,
        "" if line.all_scopes else line.scope.title,
        line.kind,
        line.to_do,
        line.opens_on or "",
        line.certificate_number,
        "yes" if line.is_first else "no",
        " ".join(class_session.number for class_session in line.sessions),
    ]


def places_total(sessions: Sequence[ClassSession]) -> Places:
    """Places in all of these classes."""
    return Places(
        sum(class_session.places for class_session in sessions),
        sum(class_session.enrolled for class_session in sessions),  # type: ignore[attr-defined]
    )
