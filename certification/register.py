"""The register as a list: people, their scopes, and how they stand on a day.

Any day, past or to come, is read from the stored spans, in a fixed number of queries
whatever the number of people; a day as it was known at an instant from what a worker has
worked out (`certification.services.known_registers`).

A list by name, number, site or line lead goes person by person; one by scope, standing or last
day goes line by line.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from django.db.models import (
    Case,
    Count,
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

from training.access import people_with_standing_for
from training.models import FormerEmployeeNumber, Person, Role, User

from .domain.answers import Rule, Standing
from .models import Certificate, KnownRegister, Scope, StandingEnd, StandingSpan
from .models.known import KnownEnd, KnownSpan
from .said import RULES

SOON = timedelta(days=90)
NOT_CURRENT = "not_current"
IN_FULL = (Role.INSTRUCTOR, Role.QUALITY)

ORDERS_OF_PEOPLE = {
    "name": ("full_name", "employee_number"),
    "number": ("employee_number",),
    "site": ("site__name", "full_name", "employee_number"),
    "lead": (F("line_lead__full_name").asc(nulls_last=True), "full_name", "employee_number"),
}
# What somebody has to see to first.
BY_STANDING = Case(
    *(
        When(standing=standing, then=Value(place))
        for place, standing in enumerate(
            (
                Standing.SUSPENDED,
                Standing.REVOKED,
                Standing.VISION_NOT_CURRENT,
                Standing.PRACTICE_LAPSED,
                Standing.EXPIRED,
            )
        )
    ),
    default=Value(9),
    output_field=IntegerField(),
)
BY_NAME: tuple[str, ...] = ("person__full_name", "person__employee_number")
ORDERS_OF_LINES: dict[str, tuple[Any, ...]] = {
    "scope": ("scope__level", "scope__title", *BY_NAME),
    "standing": (BY_STANDING, *BY_NAME, "scope__title"),
    "end": (F("ends_on").asc(nulls_last=True), *BY_NAME, "scope__title"),
}


@dataclass(frozen=True, slots=True)
class Asked:
    """What the register is asked for; everything but the day may be left open.

    ``known`` is a finished answer to what was known of that day at an instant; without it the
    answer uses everything that is recorded.
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


AnySpan = StandingSpan | KnownSpan
AnyEnd = StandingEnd | KnownEnd


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

    @property
    def certificate(self) -> Certificate | None:
        return self.span.certificate if self.span else None

    @property
    def said(self) -> str:
        """The standing as this reader may know it: why a vision test fails is the holder's own."""
        if self.standing == Standing.VISION_NOT_CURRENT and not self.in_full:
            return NOT_CURRENT
        return self.standing

    @property
    def why(self) -> str:
        """Why somebody stands like this, in words that any reader of the line may know."""
        if self.said == NOT_CURRENT:
            return _("Not current: see your instructor.")
        return str(RULES[Rule(self.span.rule) if self.span else Rule.NO_CERTIFICATE])

    @property
    def changes_on(self) -> date | None:
        """The first later day on which standing or certificate differ, with the same facts."""
        return getattr(self.span, "changes_on", None)

    @property
    def next_kind(self) -> str:
        """What ends first, as this reader may know it."""
        if self.next_end is None:
            return ""
        if self.next_end.kind == StandingEnd.Kind.VISION and not self.in_full:
            return "see_instructor"
        return self.next_end.kind

    @property
    def next_word(self) -> str:
        if self.next_kind == "see_instructor":
            return _("see your instructor")
        return str(self.next_end.get_kind_display()) if self.next_end else ""


def people_asked_for(user: User, asked: Asked) -> QuerySet[Person]:
    """People the register shows to a user, in order; a person without any scope is there too."""
    people = _people(user, asked)
    spans = _spans(asked).filter(person=OuterRef("pk"))
    if asked.standing == Standing.NEVER_CERTIFIED:
        people = people.filter(~Exists(spans))
    elif asked.standing or asked.scope is not None:
        people = people.filter(Exists(spans))
    if asked.standing == Standing.VISION_NOT_CURRENT:
        people = people.filter(site__in=user.sites_as(*IN_FULL))
    elif asked.standing == NOT_CURRENT:
        people = people.exclude(site__in=user.sites_as(*IN_FULL))
    return people.order_by(*ORDERS_OF_PEOPLE.get(asked.order, ORDERS_OF_PEOPLE["name"]))


def _people(user: User, asked: Asked) -> QuerySet[Person]:
    """People who match what is asked of them, however they stand."""
    people = people_with_standing_for(user).select_related("site", "line_lead")
    if asked.known is not None:
        people = people.filter(site__in=user.sites_as(Role.QUALITY))
    if not asked.with_left:
        people = people.at_work_on(asked.day)
    for word in asked.text.split():
        former = FormerEmployeeNumber.objects.filter(employee_number__istartswith=word)
        people = people.filter(
            Q(full_name__icontains=word)
            | Q(employee_number__istartswith=word)
            | Q(pk__in=former.values("person"))
        )
    if asked.site_id is not None:
        people = people.filter(site=asked.site_id)
    if asked.lead_id is not None:
        people = people.filter(line_lead=asked.lead_id)
    return people


def _spans(asked: Asked) -> QuerySet[Any]:
    """The spans that the day lies in, of everybody; never certified is to have none."""
    spans: QuerySet[Any] = StandingSpan.objects.on(asked.day)
    if asked.known is not None:
        spans = KnownSpan.objects.filter(known=asked.known)
    if asked.scope is not None:
        spans = spans.filter(scope=asked.scope)
    if asked.standing == "ending":
        return spans.filter(standing=Standing.CERTIFIED, ends_on__lte=asked.day + SOON)
    if asked.standing == NOT_CURRENT:
        return spans.filter(standing=Standing.VISION_NOT_CURRENT)
    if asked.standing and asked.standing != Standing.NEVER_CERTIFIED:
        return spans.filter(standing=asked.standing)
    return spans


def _ends(asked: Asked) -> QuerySet[Any]:
    ends = KnownEnd if asked.known is not None else StandingEnd
    return ends._default_manager.order_by("last_day", "kind")


def _for_lines(spans: QuerySet[Any], asked: Asked) -> QuerySet[Any]:
    """With everything a line shows: what ends it, and when it changes by itself."""
    spans = spans.select_related("scope", "certificate").prefetch_related(
        Prefetch("ends", _ends(asked))
    )
    if asked.known is not None:
        return spans
    later = (
        StandingSpan.objects.filter(
            person=OuterRef("person"), scope=OuterRef("scope"), first_day__gt=OuterRef("first_day")
        )
        .exclude(standing=OuterRef("standing"), certificate=OuterRef("certificate"))
        .order_by("first_day")
    )
    return spans.annotate(changes_on=Subquery(later.values("first_day")[:1]))


def with_spans(people: QuerySet[Person], asked: Asked) -> QuerySet[Person]:
    """Fetch the spans and ends of the people on the day, however many they are."""
    spans = _for_lines(_spans(asked), asked).order_by("scope__level", "scope__title")
    of_person = "known_spans" if asked.known is not None else "spans"
    return people.prefetch_related(Prefetch(of_person, spans, to_attr="spans_on_day"))


class LinesInOrder:
    """Lines one by one, whoever's they are, and after them the people without any.

    Counted and cut by the database, so that a paginator takes it for a list.
    """

    def __init__(self, user: User, asked: Asked) -> None:
        self._user, self._asked = user, asked
        people = people_asked_for(user, asked)
        spans = _spans(asked).filter(person__in=people.order_by().values("pk"))
        self._spans = spans.select_related("person__site", "person__line_lead")
        if asked.standing == Standing.NEVER_CERTIFIED:
            self._spans = self._spans.none()
        self._spans = self._spans.order_by(*ORDERS_OF_LINES[asked.order])
        self._without = people.filter(~Exists(_spans(asked).filter(person=OuterRef("pk"))))
        if asked.standing not in ("", Standing.NEVER_CERTIFIED) or (
            asked.scope is not None and not asked.standing
        ):
            self._without = self._without.none()

    def __len__(self) -> int:
        return self._number_of_spans + self._without.count()

    @cached_property
    def _number_of_spans(self) -> int:
        return self._spans.order_by().count()

    def __getitem__(self, cut: slice) -> list[Line]:
        spans = list(_for_lines(self._spans, self._asked)[cut])
        lines = [self._line(span.person, span) for span in spans]
        left = cut.stop - cut.start - len(spans)
        if left:
            start = max(0, cut.start - self._number_of_spans)
            lines += [self._line(person, None) for person in self._without[start : start + left]]
        return lines

    def __iter__(self) -> Iterator[Line]:
        """All of them, in batches; for an export."""
        for span in _for_lines(self._spans, self._asked).iterator(chunk_size=500):
            yield self._line(span.person, span)
        for person in self._without.iterator(chunk_size=500):
            yield self._line(person, None)

    def _line(self, person: Person, span: AnySpan | None) -> Line:
        in_full = reads_in_full(self._user, person)
        if span is None:
            return _no_line(person, self._asked, in_full)
        return _line(person, span, self._asked, in_full)


def lines_of(person: Person, asked: Asked, in_full: bool) -> list[Line]:
    """A person's lines, from `with_spans`; one that says so where they have no scope."""
    spans: list[AnySpan] = person.spans_on_day  # type: ignore[attr-defined]
    if not spans:
        return [_no_line(person, asked, in_full)]
    return [_line(person, span, asked, in_full) for span in spans]


def _no_line(person: Person, asked: Asked, in_full: bool) -> Line:
    none = Standing.NEVER_CERTIFIED
    return Line(person, asked.scope, none, None, None, None, False, in_full)


def _line(person: Person, span: AnySpan, asked: Asked, in_full: bool) -> Line:
    ends: list[Any] = list(span.ends.all())
    next_end = ends[0] if ends else None
    through = next((one.last_day for one in ends if one.kind == StandingEnd.Kind.CERTIFICATE), None)
    if through is None and span.certificate is not None:
        through = span.certificate.valid_through
    return Line(
        person=person,
        scope=span.scope,
        standing=span.standing,
        span=span,
        through=through,
        next_end=next_end,
        ends_soon=next_end is not None and next_end.last_day <= asked.day + SOON,
        in_full=in_full,
    )


def reads_in_full(user: User, person: Person) -> bool:
    """Whether a user may know of somebody that it is the vision test which is not current."""
    return user.person_id == person.pk or user.has_role(*IN_FULL, site=person.site_id)


def standings_told(user: User) -> set[str]:
    """How a user may have the register narrowed.

    To "vision not current" where they are instructor or quality, to "not current" alone for
    everybody else they see there, themselves included.
    """
    told = {str(one) for one in Standing} - {Standing.UNKNOWN_PERSON} | {"ending", NOT_CURRENT}
    in_full = user.sites_as(*IN_FULL)
    if not in_full:
        told.discard(Standing.VISION_NOT_CURRENT)
    at_own_site = user.person is None or user.person.site_id in in_full
    if at_own_site and not user.has_role(Role.LINE_LEAD):
        told.discard(NOT_CURRENT)
    return told


def all_lines(user: User, asked: Asked) -> Iterator[Line]:
    """Every line asked for, in batches; for an export."""
    if asked.order in ORDERS_OF_LINES:
        yield from LinesInOrder(user, asked)
        return
    people = with_spans(people_asked_for(user, asked), asked)
    for person in people.iterator(chunk_size=500):
        yield from lines_of(person, asked, reads_in_full(user, person))


def counts(user: User, asked: Asked) -> dict[str, int]:
    """How many scopes of the people asked for stand how; of whom none, as never certified.

    One walk over the spans and one over the people, whatever is counted.
    """
    everyone = replace(asked, standing="", order="name")
    people = _people(user, everyone).order_by()
    spans = _spans(everyone).filter(person__in=people.values("pk")).order_by()
    stands = {str(one): Q(standing=one) for one in Standing}
    stands["ending"] = Q(standing=Standing.CERTIFIED, ends_on__lte=asked.day + SOON)
    told, vision = standings_told(user), Q(standing=Standing.VISION_NOT_CURRENT)
    if NOT_CURRENT in told:
        in_full = Q(person__site__in=user.sites_as(*IN_FULL))
        stands[Standing.VISION_NOT_CURRENT] = vision & in_full
        stands[NOT_CURRENT] = vision & ~in_full
    found: dict[str, int] = spans.aggregate(
        **{name: Count("pk", filter=which) for name, which in stands.items()},
        all=Count("pk"),
        people=Count("person", distinct=True),
    )
    found.setdefault(NOT_CURRENT, 0)
    found[Standing.NEVER_CERTIFIED] = people.count() - found.pop("people")
    return found


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


def as_row(line: Line, asked: Asked) -> list[Any]:
    """A line as the columns of an export."""
    return [
        line.person.employee_number,
        line.person.full_name,
        line.person.site.name,
        line.person.line_lead.employee_number if line.person.line_lead else "",
        line.scope.code if line.scope else "",
        line.scope.title if line.scope else "",
        line.said,
        line.certificate.number if line.certificate else "",
        line.through or "",
        line.next_end.last_day if line.next_end else "",
        line.next_kind,
        line.span.restriction if line.span else "",
        line.why,
        line.changes_on or "",
        asked.day,
        asked.known.known_at.isoformat(timespec="seconds") if asked.known else "",
    ]
