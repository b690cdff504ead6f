"""The register as a list: people, their scopes, and how they stand on a day.

Any day, past or to come, is read from the stored spans, in a fixed number of queries
whatever the number of people; a day as it was known at an instant from what a worker has
worked out (`certification.services.known_registers`).

A list by name, number, site or line lead goes person by person; one by scope, standing or last
day goes line by line.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

from django.db.models import (
    Case,
    Count,
    DateField,
    Exists,
    F,
    IntegerField,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.utils.functional import cached_property
from django.utils.translation import gettext as _

from certification.access import IN_FULL, reads_in_full
from certification.domain.answers import Rule, Standing
from certification.domain.disclosure import (
    LAPSES,
    NOT_CURRENT,
    SEE_INSTRUCTOR,
    Disclosure,
    Reader,
    may_know,
    reader_for,
)
from certification.models import (
    Certificate,
    KnownRegister,
    Scope,
    StandingEnd,
    StandingSpan,
)
from certification.models.known_registers import KnownEnd, KnownSpan
from people.access import people_with_standing_for, people_with_standing_then
from people.models import FormerEmployeeNumber, Person, Role, Site, User
from people.models.people import at_work_on, formerly_named
from people.queries.memberships import at_site_on, were_at
from people.queries.site_days import Days

from .standing_words import reason_for

SOON = timedelta(days=90)

ORDERS_OF_PEOPLE = {
    "name": ("full_name", "employee_number"),
    "number": ("employee_number",),
    "site": ("site__name", "full_name", "employee_number"),
    "lead": (F("line_lead__full_name").asc(nulls_last=True), "full_name", "employee_number"),
}
WHAT_TO_SEE_TO_FIRST = (
    Standing.SUSPENDED,
    Standing.REVOKED,
    Standing.VISION_NOT_CURRENT,
    Standing.PRACTICE_LAPSED,
    Standing.EXPIRED,
)
BY_NAME: tuple[str, ...] = ("person__full_name", "person__employee_number")
ORDERS_OF_LINES: dict[str, tuple[Any, ...]] = {
    "scope": ("scope__level", "scope__title", *BY_NAME),
    "standing": (*BY_NAME, "scope__title"),
    "end": (F("ends_on").asc(nulls_last=True), *BY_NAME, "scope__title"),
}


@dataclass(frozen=True, slots=True)
class RegisterFilters:
    """What the register is asked for; everything but the day may be left open.

    Without a day asked for it is each person's own: ``elsewhere`` has the sites where it is
    another than ``day``. ``known`` is a finished answer to what was known of that day at an
    instant; without it the answer uses everything that is recorded. Of a past day it is read by
    the sites where people were then too: ``former_sites`` has those of whoever has moved since.
    """

    day: date
    text: str = ""
    site_id: int | None = None
    scope: Scope | None = None
    standing: str = ""
    lead_id: int | None = None
    order: str = "name"
    with_left: bool = False
    known: KnownRegister | None = None
    elsewhere: tuple[tuple[date, frozenset[int]], ...] = ()
    is_past: bool = False
    former_sites: Mapping[int, Site] = field(default_factory=dict)
    reads_at: frozenset[int] = frozenset()

    @property
    def days(self) -> Days:
        return Days(self.day, self.elsewhere)


@dataclass(frozen=True, slots=True)
class Until:
    """The last day of a yes, whatever ends it: for whoever may not know what does."""

    last_day: date
    kind: str = SEE_INSTRUCTOR

    def get_kind_display(self) -> str:
        return _("see your instructor")


AnySpan = StandingSpan | KnownSpan
AnyEnd = StandingEnd | KnownEnd | Until


@dataclass(frozen=True, slots=True)
class Line:
    """One scope of one person on the day asked about."""

    person: Person
    scope: Scope | None
    standing: str
    span: AnySpan | None
    through: date | None
    next_end: AnyEnd | None
    ends_soon: bool
    in_full: bool
    day: date
    site: Site
    is_readable_now: bool

    @property
    def has_moved(self) -> bool:
        """Whether they are at another site now than on the day."""
        return self.site.pk != self.person.site_id

    @property
    def is_out_of_reach(self) -> bool:
        """Whether they were the reader's on the day, and what became of them since is not."""
        return self.has_moved and not self.is_readable_now

    @property
    def reader(self) -> Reader:
        return reader_for(in_full=self.in_full)

    @property
    def disclosure(self) -> Disclosure:
        """What this reader may know of the standing."""
        return may_know(self.standing, self.reader)

    @property
    def certificate(self) -> Certificate | None:
        return self.span.certificate if self.span and self.disclosure.certificate else None

    @property
    def restriction(self) -> str:
        return self.span.restriction if self.span and self.disclosure.certificate else ""

    @property
    def said(self) -> str:
        """The standing as this reader may know it: why it lapsed may be their eyes."""
        return self.disclosure.standing

    @property
    def why(self) -> str:
        """Why somebody stands like this, in words that any reader of the line may know."""
        rule = Rule(self.span.rule) if self.span else Rule.NO_CERTIFICATE
        return str(reason_for(rule, self.reader))

    @property
    def changes_on(self) -> date | None:
        """The first later day on which the answer differs, with the same facts."""
        return getattr(self.span, "changes_on", None) if self.disclosure.reason else None

    @property
    def next_kind(self) -> str:
        """What ends first, as this reader may know it."""
        return self.next_end.kind if self.next_end else ""

    @property
    def next_word(self) -> str:
        return str(self.next_end.get_kind_display()) if self.next_end else ""


def people_who_match(user: User, filters: RegisterFilters) -> QuerySet[Person]:
    """People the register shows to a user, in order; a person without any scope is there too."""
    people = _people(user, filters)
    spans = _spans(user, filters).filter(person=OuterRef("pk"))
    if filters.standing == Standing.NEVER_CERTIFIED:
        people = people.filter(~Exists(spans))
    elif filters.standing or filters.scope is not None:
        people = people.filter(Exists(spans))
    in_full = _at_sites(user.sites_as(*IN_FULL), filters)
    if filters.standing in LAPSES:
        people = people.filter(in_full)
    elif filters.standing == NOT_CURRENT:
        people = people.filter(~in_full)
    return people.order_by(*ORDERS_OF_PEOPLE.get(filters.order, ORDERS_OF_PEOPLE["name"]))


def _people(user: User, filters: RegisterFilters) -> QuerySet[Person]:
    """People who match what is asked of them, however they stand."""
    readable = people_with_standing_for(user)
    if filters.is_past:
        readable = people_with_standing_then(user, filters.day)
    people = readable.select_related("site", "line_lead")
    if filters.known is not None:
        people = people.filter(_at_sites(user.sites_as(Role.QUALITY), filters))
    if not filters.with_left:
        people = people.filter(filters.days.each(at_work_on, "site"))
    for word in filters.text.split():
        former = FormerEmployeeNumber.objects.filter(employee_number__istartswith=word)
        people = people.filter(
            Q(full_name__icontains=word)
            | Q(pk__in=formerly_named(word))
            | Q(employee_number__istartswith=word)
            | Q(pk__in=former.values("person"))
        )
    if filters.site_id is not None:
        at_site = Q(site=filters.site_id)
        if filters.is_past:
            at_site = at_site_on(filters.site_id, filters.day)
        people = people.filter(at_site)
    if filters.lead_id is not None:
        people = people.filter(line_lead=filters.lead_id)
    return people


def _at_sites(
    sites: set[int], filters: RegisterFilters, person: str = "pk", site: str = "site"
) -> Q:
    """Whoever is at one of these sites, or on a past day was; by the paths to both."""
    here = Q(**{f"{site}__in": sites})
    if not filters.is_past:
        return here
    return here | Q(**{f"{person}__in": were_at(sites, filters.day)})


def _spans(user: User | None, filters: RegisterFilters) -> QuerySet[Any]:
    """The spans that the day lies in, of everybody; never certified is to have none."""
    spans: QuerySet[Any] = StandingSpan.objects.on_days(filters.days)
    if filters.known is not None:
        spans = KnownSpan.objects.filter(known=filters.known)
    if filters.scope is not None:
        spans = spans.filter(scope=filters.scope)
    if filters.standing == "ending":
        return spans.filter(_ending(user, filters))
    if filters.standing == NOT_CURRENT:
        return spans.filter(standing__in=LAPSES)
    if filters.standing and filters.standing != Standing.NEVER_CERTIFIED:
        return spans.filter(standing=filters.standing)
    return spans


def _ending(user: User | None, filters: RegisterFilters) -> Q:
    """Spans of a yes that ends soon.

    What would end it by itself may be known from tests that came after something else had ended
    it. So to whoever does not read in full it ends when the answer becomes another, and no
    sooner or later.
    """
    by_itself = filters.days.each(lambda day: Q(ends_on__lte=day + SOON), "person__site")
    if filters.known is None and user is not None and user.has_role(Role.LINE_LEAD):
        otherwise = filters.days.each(_says_otherwise_soon, "person__site")
        in_full = _read_in_full(user, filters)
        by_itself = (by_itself & in_full) | (~in_full & otherwise)
    return Q(standing=Standing.CERTIFIED) & by_itself


def _says_otherwise_soon(day: date) -> Q:
    return Q(Exists(says_otherwise().filter(first_day__lte=day + SOON + timedelta(days=1))))


def _read_in_full(user: User, filters: RegisterFilters) -> Q:
    """Spans of people of whom the user may know how they lapsed, or will."""
    return _at_sites(user.sites_as(*IN_FULL), filters, "person", "person__site") | Q(
        person=user.person_id or 0
    )


def reads_line_in_full(user: User, person: Person, filters: RegisterFilters) -> bool:
    """The same of one person, asked without the database."""
    if reads_in_full(user, person):
        return True
    former = filters.former_sites.get(person.pk)
    return former is not None and user.has_role(*IN_FULL, site=former.pk)


def says_otherwise() -> QuerySet[StandingSpan]:
    """Later spans, from within a query of spans, that say something else to whoever asks
    whether somebody may: the first of them is when the answer becomes another."""
    return (
        StandingSpan.objects.filter(
            person=OuterRef("person"), scope=OuterRef("scope"), first_day__gt=OuterRef("first_day")
        )
        .exclude(standing=OuterRef("standing"), restriction=OuterRef("restriction"))
        .order_by("first_day")
    )


def _ends(filters: RegisterFilters) -> QuerySet[Any]:
    ends = KnownEnd if filters.known is not None else StandingEnd
    return ends._default_manager.order_by("last_day", "kind")


def _for_lines(spans: QuerySet[Any], filters: RegisterFilters) -> QuerySet[Any]:
    """With everything a line shows: what ends it, and when it changes by itself."""
    spans = spans.select_related("scope", "certificate").prefetch_related(
        Prefetch("ends", _ends(filters))
    )
    if filters.known is not None:
        return spans
    later = (
        StandingSpan.objects.filter(
            person=OuterRef("person"), scope=OuterRef("scope"), first_day__gt=OuterRef("first_day")
        )
        .exclude(
            standing=OuterRef("standing"),
            certificate=OuterRef("certificate"),
            restriction=OuterRef("restriction"),
        )
        .order_by("first_day")
    )
    return spans.annotate(
        changes_on=Subquery(later.values("first_day")[:1]),
        otherwise_on=Subquery(says_otherwise().values("first_day")[:1]),
    )


def with_spans(
    user: User | None, people: QuerySet[Person], filters: RegisterFilters
) -> QuerySet[Person]:
    """Fetch the spans and ends of the people on the day, however many they are.

    ``user`` is the reader, None where it is somebody's own.
    """
    spans = _for_lines(_spans(user, filters), filters).order_by("scope__level", "scope__title")
    of_person = "known_spans" if filters.known is not None else "spans"
    return people.prefetch_related(Prefetch(of_person, spans, to_attr="spans_on_day"))


class LinesInOrder:
    """Lines one by one, whoever's they are, and after them the people without any.

    Cut by the database, so that a paginator takes it for a list; its length comes from
    `counts`, which has gone over all of them already.
    """

    def __init__(
        self, user: User, filters: RegisterFilters, counted: dict[str, int] | None = None
    ) -> None:
        self._user, self._filters, self._counted = user, filters, counted
        people = people_who_match(user, filters)
        spans = _spans(user, filters)
        self._any_span = spans.model._default_manager.select_related(
            "person__site", "person__line_lead"
        )
        self._spans = spans.filter(person__in=people.order_by().values("pk"))
        if filters.standing == Standing.NEVER_CERTIFIED:
            self._spans = self._spans.none()
        self._spans = _in_order(self._spans, user, filters)
        self._without = people.filter(~Exists(_spans(user, filters).filter(person=OuterRef("pk"))))
        self._has_without = filters.standing == Standing.NEVER_CERTIFIED or (
            not filters.standing and filters.scope is None
        )
        if not self._has_without:
            self._without = self._without.none()

    def __len__(self) -> int:
        without = self._counts[Standing.NEVER_CERTIFIED] if self._has_without else 0
        return self._number_of_spans + without

    @cached_property
    def _counts(self) -> dict[str, int]:
        return counts(self._user, self._filters) if self._counted is None else self._counted

    @property
    def _number_of_spans(self) -> int:
        if self._filters.standing == Standing.NEVER_CERTIFIED:
            return 0
        return self._counts[self._filters.standing or "all"]

    def __getitem__(self, cut: slice) -> list[Line]:
        # Cut first, or what a line shows would be worked out of all that are sorted.
        cut_out = self._any_span.filter(pk__in=self._spans.values("pk")[cut])
        cut_out = _in_order(cut_out, self._user, self._filters)
        spans = list(_for_lines(cut_out, self._filters))
        lines = [self._line(span.person, span) for span in spans]
        left = cut.stop - cut.start - len(spans)
        if left:
            start = max(0, cut.start - self._number_of_spans)
            lines += [self._line(person, None) for person in self._without[start : start + left]]
        return lines

    def __iter__(self) -> Iterator[Line]:
        """All of them, in batches; for an export."""
        spans = self._spans.select_related("person__site", "person__line_lead")
        for span in _for_lines(spans, self._filters).iterator(chunk_size=500):
            yield self._line(span.person, span)
        for person in self._without.iterator(chunk_size=500):
            yield self._line(person, None)

    def _line(self, person: Person, span: AnySpan | None) -> Line:
        in_full = reads_line_in_full(self._user, person, self._filters)
        if span is None:
            return _no_line(person, self._filters, in_full)
        return _line(person, span, self._filters, in_full)


def _in_order(spans: QuerySet[Any], user: User, filters: RegisterFilters) -> QuerySet[Any]:
    """The order asked for, in which nothing stands apart that is told as one."""
    order = ORDERS_OF_LINES[filters.order]
    if filters.order == "standing":
        places = {standing: Value(place) for place, standing in enumerate(WHAT_TO_SEE_TO_FIRST)}
        told_as_one = When(
            ~_read_in_full(user, filters),
            standing__in=LAPSES,
            then=places[Standing.VISION_NOT_CURRENT],
        )
        place = Case(
            told_as_one,
            *(When(standing=standing, then=place) for standing, place in places.items()),
            default=Value(9),
            output_field=IntegerField(),
        )
        return spans.alias(place=place).order_by("place", *order)
    if filters.order == "end" and filters.known is None and user.has_role(Role.LINE_LEAD):
        otherwise_on = Subquery(says_otherwise().values("first_day")[:1])
        told_end = Case(
            When(_read_in_full(user, filters), then=F("ends_on")),
            When(standing=Standing.CERTIFIED, then=otherwise_on),
            output_field=DateField(),
        )
        return spans.alias(told_end=told_end).order_by(
            F("told_end").asc(nulls_last=True), *order[1:]
        )
    return spans.order_by(*order)


def lines_of(person: Person, filters: RegisterFilters, in_full: bool) -> list[Line]:
    """A person's lines, from `with_spans`; one that says so where they have no scope."""
    spans: list[AnySpan] = person.spans_on_day  # type: ignore[attr-defined]
    if not spans:
        return [_no_line(person, filters, in_full)]
    return [_line(person, span, filters, in_full) for span in spans]


def _no_line(person: Person, filters: RegisterFilters, in_full: bool) -> Line:
    none = Standing.NEVER_CERTIFIED
    day = filters.days.at(person.site_id)
    site, readable = filters.former_sites.get(person.pk), person.site_id in filters.reads_at
    site = site or person.site
    return Line(person, filters.scope, none, None, None, None, False, in_full, day, site, readable)


def _line(person: Person, span: AnySpan, filters: RegisterFilters, in_full: bool) -> Line:
    day = filters.days.at(person.site_id)
    ends: list[Any] = list(span.ends.all())
    next_end = ends[0] if ends else None
    through = span.good_through
    if not in_full:  # One day whatever ends, and none where all is over.
        otherwise_on: date | None = getattr(span, "otherwise_on", None)
        next_end = None
        if otherwise_on is not None and span.standing == Standing.CERTIFIED:
            next_end = Until(otherwise_on - timedelta(days=1))
        through = next_end.last_day if next_end else None
    return Line(
        person=person,
        scope=span.scope,
        standing=span.standing,
        span=span,
        through=through,
        next_end=next_end,
        ends_soon=next_end is not None and next_end.last_day <= day + SOON,
        in_full=in_full,
        day=day,
        site=filters.former_sites.get(person.pk) or person.site,
        is_readable_now=person.site_id in filters.reads_at,
    )


def standings_told(user: User) -> set[str]:
    """How a user may have the register narrowed.

    To how something lapsed where they are instructor or quality, to "not current" alone for
    everybody else they see there, themselves included.
    """
    told = {str(standing) for standing in Standing} - {Standing.UNKNOWN_PERSON} | {
        "ending",
        NOT_CURRENT,
    }
    in_full = user.sites_as(*IN_FULL)
    if not in_full:
        told -= LAPSES
    at_own_site = user.person is None or user.person.site_id in in_full
    if at_own_site and not user.has_role(Role.LINE_LEAD):
        told.discard(NOT_CURRENT)
    return told


def all_lines(user: User, filters: RegisterFilters) -> Iterator[Line]:
    """Every line asked for, in batches; for an export."""
    if filters.order in ORDERS_OF_LINES:
        yield from LinesInOrder(user, filters)
        return
    people = with_spans(user, people_who_match(user, filters), filters)
    for person in people.iterator(chunk_size=500):
        yield from lines_of(person, filters, reads_line_in_full(user, person, filters))


def counts(user: User, filters: RegisterFilters) -> dict[str, int]:
    """How many scopes of the people asked for stand how; of whom none, as never certified.

    As "people" how many people are asked for. One walk over the spans and one over the people,
    whatever is counted; a page of the list takes its length from here.
    """
    everyone = replace(filters, standing="", order="name")
    people = _people(user, everyone).order_by()
    spans = _spans(user, everyone).filter(person__in=people.values("pk")).order_by()
    stands = {str(standing): Q(standing=standing) for standing in Standing}
    stands["ending"] = _ending(user, filters)
    if NOT_CURRENT in standings_told(user):
        in_full = _at_sites(user.sites_as(*IN_FULL), filters, "person", "person__site")
        stands |= {str(standing): Q(standing=standing) & in_full for standing in LAPSES}
        stands[NOT_CURRENT] = Q(standing__in=LAPSES) & ~in_full
    chosen = stands.get(filters.standing)
    totals: dict[str, int] = spans.aggregate(
        **{name: Count("pk", filter=which) for name, which in stands.items()},
        all=Count("pk"),
        with_any=Count("person", distinct=True),
        people=Count("person", distinct=True, filter=chosen),
    )
    totals.setdefault(NOT_CURRENT, 0)
    totals[Standing.NEVER_CERTIFIED] = people.count() - totals["with_any"]
    if filters.standing == Standing.NEVER_CERTIFIED:
        totals["people"] = totals[Standing.NEVER_CERTIFIED]
    elif not filters.standing and filters.scope is None:
        totals["people"] += totals[Standing.NEVER_CERTIFIED]
    return totals


COLUMNS = (
    "employee_number",
    "full_name",
    "site",
    "line_lead",
    "scope",
    "scope_title",
    "standing",
    "certificate_number",
    "through",
    "ends_next_on",
    "ends_next_by",
    "restriction",
    "why",
    "changes_on",
    "as_of",
    "as_known_at",
)


def as_row(line: Line, filters: RegisterFilters) -> list[Any]:
    """A line as the columns of an export."""
    return [
        line.person.employee_number,
        line.person.full_name,
        line.site.name,
        line.person.line_lead.employee_number if line.person.line_lead else "",
        line.scope.code if line.scope else "",
        line.scope.title if line.scope else "",
        line.said,
        line.certificate.number if line.certificate else "",
        line.through or "",
        line.next_end.last_day if line.next_end else "",
        line.next_kind,
        line.restriction,
        line.why,
        line.changes_on or "",
        line.day,
        filters.known.known_at.isoformat(timespec="seconds") if filters.known else "",
    ]
