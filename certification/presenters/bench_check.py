"""The bench check: may this person do this work on this day, for the shop floor and its programs.

Line leads, kiosks and programs get the same answer, and it says less than the register. Why
somebody's standing fails may be their eyes, which is theirs and their instructor's to know.
What may be told is decided in `certification.domain.disclosure`. With a no goes neither a
certificate's number nor a day, which would give it away as well.

Somebody who is not at the site on the day (at another site, not yet here, left) is answered
for like somebody whom nobody knows.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _

from certification.domain.answers import Standing
from certification.domain.disclosure import NOT_CURRENT, Reader, may_know
from certification.models import Scope, StandingSpan
from certification.models.schemes import operators_first
from certification.presenters.standing_words import NOT_CURRENT_REASON
from people.models import FormerEmployeeNumber, Person, Stamp

MOST_MEANT = 5
SHORTEST_WORD = 3
UNKNOWN_SCOPE = "unknown_scope"
UNKNOWN = frozenset({str(Standing.UNKNOWN_PERSON), UNKNOWN_SCOPE})

TOLD = {
    standing: may_know(standing, Reader.BENCH_CHECK).standing
    for standing in (
        Standing.CERTIFIED,
        Standing.SUSPENDED,
        Standing.REVOKED,
        Standing.NEVER_CERTIFIED,
        Standing.EXPIRED,
        Standing.PRACTICE_LAPSED,
        Standing.VISION_NOT_CURRENT,
    )
}
"""What the bench check says of each standing that somebody has."""

STANDINGS = (*dict.fromkeys(TOLD.values()), str(Standing.UNKNOWN_PERSON), UNKNOWN_SCOPE)
"""Every word that the bench check may answer with."""

REASONS = {
    str(Standing.SUSPENDED): _("Suspended: see your instructor."),
    str(Standing.REVOKED): _("Revoked: see your instructor."),
    str(Standing.NEVER_CERTIFIED): _("Never certified for this work."),
    NOT_CURRENT: NOT_CURRENT_REASON,
    str(Standing.UNKNOWN_PERSON): _("Nobody here has this number, stamp or name."),
    UNKNOWN_SCOPE: _("There is no such work."),
}


@dataclass(frozen=True, slots=True)
class PersonHere:
    """Somebody at the site on the day, with the last day of theirs if one is known."""

    pk: int
    employee_number: str
    full_name: str
    site_id: int
    left_on: date | None


@dataclass(frozen=True, slots=True)
class Answer:
    """Whether somebody may do one kind of work on a day.

    Attributes
    ----------
    employee_number : str
        As asked for: a number somebody had before still finds them.
    scope : str
        The code as asked for.
    standing : str
        One of `STANDINGS`.
    restriction : str
        What alone they may do; empty where there is no restriction, and with a no.
    through : date or None
        The last day through which this yes holds by itself, as far as is known today, with
        the same restriction; None with a no.
    certificate_number : str
        Of the certificate that says yes; empty with a no.
    person : PersonHere or None
    """

    employee_number: str
    scope: str
    day: date
    standing: str
    restriction: str = ""
    through: date | None = None
    certificate_number: str = ""
    person: PersonHere | None = None

    @property
    def may_work(self) -> bool:
        return self.standing == Standing.CERTIFIED


def answers(pairs: Sequence[tuple[str, str]], *, sites: Collection[int], day: date) -> list[Answer]:
    """Answer for each (employee number, scope code), in order.

    Takes two queries however many pairs there are; up to two more if a number is not
    anybody's present one, and one more if somebody never had a standing in a scope.
    """
    people = people_here((number for number, _code in pairs), sites=sites, day=day)
    spans = _spans_from(
        day, {person_here.pk for person_here in people.values()}, {code for _number, code in pairs}
    )
    silent = {
        code
        for number, code in pairs
        if number in people and (people[number].pk, code) not in spans
    }
    unknown = silent - _known_scopes(silent)
    return [
        _answer(number, code, day, people.get(number), code in unknown, spans)
        for number, code in pairs
    ]


def answer(employee_number: str, scope: str, *, sites: Collection[int], day: date) -> Answer:
    return answers([(employee_number, scope)], sites=sites, day=day)[0]


def people_here(
    numbers: Iterable[str], *, sites: Collection[int], day: date
) -> dict[str, PersonHere]:
    """People at the sites on the day, by the number asked for: a present or a former one."""
    asked = {number for number in numbers if _can_be_stored(number)}
    if not asked:
        return {}
    here = Person.objects.at_work_on(day).filter(site__in=sites).order_by()
    people = {
        person_here.employee_number: person_here
        for person_here in _read(here.filter(employee_number__in=asked))
    }
    if missing := asked - people.keys():
        former = dict(
            FormerEmployeeNumber.objects.filter(employee_number__in=missing).values_list(
                "employee_number", "person"
            )
        )
        if former:
            by_pk = {
                person_here.pk: person_here
                for person_here in _read(here.filter(pk__in=set(former.values())))
            }
            people |= {number: by_pk[pk] for number, pk in former.items() if pk in by_pk}
    return people


def _read(people: QuerySet[Person]) -> list[PersonHere]:
    columns = ("pk", "employee_number", "full_name", "site_id", "left_on")
    return [PersonHere(*row) for row in people.values_list(*columns)]


def _known_scopes(codes: Collection[str]) -> set[str]:
    asked = {code for code in codes if _can_be_stored(code)}
    if not asked:
        return set()
    return set(Scope.objects.order_by().filter(code__in=asked).values_list("code", flat=True))


def _can_be_stored(text: str) -> bool:
    """Whether a text can be anybody's number at all: no database holds a null character."""
    return bool(text) and "\0" not in text


@dataclass(frozen=True, slots=True)
class _Span:
    first_day: date
    standing: Standing
    restriction: str
    certificate_number: str

    def says_the_same_as(self, other: "_Span") -> bool:
        return (self.standing, self.restriction) == (other.standing, other.restriction)


Spans = dict[tuple[int, str], list[_Span]]


def _spans_from(day: date, people: Collection[int], codes: Collection[str]) -> Spans:
    """The spans that end on the day or later, in order, by person and scope."""
    asked = {code for code in codes if _can_be_stored(code)}
    if not people or not asked:
        return {}
    rows = (
        StandingSpan.objects.filter(
            Q(last_day__isnull=True) | Q(last_day__gte=day),
            person__in=people,
            scope__code__in=asked,
        )
        .order_by("first_day")
        .values_list(
            "person_id",
            "scope__code",
            "first_day",
            "standing",
            "restriction",
            "certificate__number",
        )
    )
    spans: Spans = {}
    for person, code, first_day, standing, restriction, number in rows:
        span = _Span(first_day, Standing(standing), restriction, number or "")
        spans.setdefault((person, code), []).append(span)
    return spans


def _holds_through(spans: list[_Span]) -> date | None:
    """The day before the first later span that says something else than the first."""
    for span in spans[1:]:
        if not span.says_the_same_as(spans[0]):
            return span.first_day - timedelta(days=1)
    return None


def _answer(
    number: str,
    code: str,
    day: date,
    person: PersonHere | None,
    no_such_scope: bool,
    spans: Spans,
) -> Answer:
    if person is None:
        return Answer(number, code, day, str(Standing.UNKNOWN_PERSON))
    if no_such_scope:
        return Answer(number, code, day, UNKNOWN_SCOPE, person=person)
    of_pair = spans.get((person.pk, code), [])
    if not of_pair or of_pair[0].first_day > day:
        return Answer(number, code, day, str(Standing.NEVER_CERTIFIED), person=person)
    span = of_pair[0]
    fields = TOLD[Standing(span.standing)]
    if fields != Standing.CERTIFIED:
        return Answer(number, code, day, fields, person=person)
    last_days = [day for day in (_holds_through(of_pair), person.left_on) if day is not None]
    return Answer(
        number,
        code,
        day,
        fields,
        span.restriction,
        min(last_days, default=None),
        span.certificate_number,
        person,
    )


def people_meant(text: str, *, sites: Collection[int], day: date) -> list[PersonHere]:
    """Whoever at the sites holds a stamp with this mark on the day, or else has this name.

    For a text that is nobody's number. The whole name is meant where somebody has it; else every
    word begins one of the name's, and the words have three letters at least. More than
    `MOST_MEANT` are not told apart.
    """
    if not _can_be_stored(text):
        return []
    here = Person.objects.at_work_on(day).filter(site__in=sites).order_by("full_name", "pk")
    holders = Stamp.objects.held_on(day).filter(mark__iexact=text).values("person")
    if found := _read(here.filter(pk__in=holders)[: MOST_MEANT + 1]):
        return found
    if found := _read(here.filter(full_name__iexact=text)[: MOST_MEANT + 1]):
        return found
    words = text.split()
    if not words or min(map(len, words)) < SHORTEST_WORD:
        return []
    for word in words:
        begins = Q(full_name__istartswith=word) | Q(full_name__icontains=f" {word}")
        here = here.filter(begins)
    return _read(here[: MOST_MEANT + 1])


def scopes_offered() -> QuerySet[Scope]:
    """The kinds of work that can be chosen at the bench, operators' first."""
    return Scope.objects.filter(retired_at__isnull=True).order_by(operators_first(), "title")
