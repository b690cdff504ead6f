"""What ends for whom, read from the spans of standing and the calibrations of tools."""

from array import array
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import groupby

from django.db.models import Case, Exists, F, IntegerField, OuterRef, Q, QuerySet, When
from django.db.models.expressions import Combinable

from certification.domain.answers import Standing
from certification.models import SchemeRevision, StandingEnd, StandingSpan
from people.models import Person, Site
from people.queries.calendars import working_days_at
from reminders.domain import reminders as domain
from reminders.domain.reminders import Ending, EndOfScope, SpanOfScope
from reminders.models import Reminder
from training.models import Calibration
from training.queries.tool_fitness import relied_on

CALIBRATION = "calibration"
WEEK_LIST = "list"
PROPOSAL = "proposal"
CERTIFIED = Standing.CERTIFIED.value
LIST_REACHES = timedelta(days=60)

Key = tuple[int, str, str, date]


def in_words(standing: str) -> str:
    return standing.replace("_", " ")


def steps_in(value: object) -> tuple[int, ...]:
    """Read the days before an end from a JSON column; what is no number is left out."""
    steps = value if isinstance(value, list) else []
    return tuple(sorted({step for step in steps if type(step) is int and step >= 0}))


def steps_by_revision() -> dict[int, tuple[int, ...]]:
    revisions = SchemeRevision.objects.order_by().values_list("pk", "reminder_steps")
    return {pk: steps_in(steps) for pk, steps in revisions}


# A batch of people


@dataclass(frozen=True)
class Ends:
    """Everything that ends for some people, to be asked about any day."""

    spans_of: dict[tuple[int, int], list[SpanOfScope]]
    vision_steps: dict[int, tuple[int, ...]]
    tools: list[Ending] = field(default_factory=list)

    def on(self, day: date) -> list[Ending]:
        """What is to be written about on a day."""
        return domain.endings_on(day, self.spans_of, self.vision_steps) + self.tools

    def by_key(self, day: date) -> dict[Key, Ending]:
        return {ending.key: ending for ending in self.on(day)}

    def scopes_of(self, person_id: int) -> Iterator[list[SpanOfScope]]:
        return (spans for (of, _scope), spans in self.spans_of.items() if of == person_id)


def ends_of(person_ids: Collection[int], steps: dict[int, tuple[int, ...]] | None = None) -> Ends:
    """Read what ends for some hundred people, in the same five queries for one or all."""
    steps = steps_by_revision() if steps is None else steps
    spans_of = _spans_with_ends(
        StandingSpan.objects.filter(person__in=person_ids),
        StandingEnd.objects.filter(span__person__in=person_ids),
        steps,
    )
    vision_steps = {
        pk: steps_in(of_site)
        for pk, of_site in Person.objects.filter(pk__in=person_ids)
        .order_by()
        .values_list("pk", "site__reminder_steps")
    }
    return Ends(spans_of, vision_steps, _tool_ends(person_ids, vision_steps))


def ends_due(due: "Due", batch: Sequence[int], steps: dict[int, tuple[int, ...]]) -> Ends:
    """Read as much of what ends for some people as decides about what is due for them.

    The spans of a person and scope in which something is due are read, all of them; of
    these, the ends of the one that holds or that ended last.
    """
    span_ids = due.spans_of(batch)
    spans_of = _spans_with_ends(
        # No span twice, for at most one of a person and scope is among those that are due.
        StandingSpan.objects.filter(person__spans__in=span_ids, scope=F("person__spans__scope")),
        StandingEnd.objects.filter(span__in=span_ids),
        steps,
    )
    vision_steps = dict.fromkeys(batch, steps_in(due.site.reminder_steps))
    answering = due.answering.intersection(batch)
    return Ends(spans_of, vision_steps, _tool_ends(answering, vision_steps) if answering else [])


def _spans_with_ends(
    spans: QuerySet[StandingSpan],
    ends: QuerySet[StandingEnd],
    steps: dict[int, tuple[int, ...]],
) -> dict[tuple[int, int], list[SpanOfScope]]:
    ends_by_span: dict[int, list[EndOfScope]] = defaultdict(list)
    for span_id, kind, ends_on, source in ends.order_by("last_day", "kind").values_list(
        "span_id", "kind", "last_day", "source"
    ):
        ends_by_span[span_id].append(EndOfScope(kind, ends_on, source))
    spans_of: dict[tuple[int, int], list[SpanOfScope]] = defaultdict(list)
    for (
        pk,
        person_id,
        scope_id,
        first_day,
        last_day,
        standing,
        number,
        revision,
    ) in spans.order_by("first_day").values_list(
        "pk",
        "person_id",
        "scope_id",
        "first_day",
        "last_day",
        "standing",
        "certificate__number",
        "certificate__scheme_revision",
    ):
        spans_of[person_id, scope_id].append(
            SpanOfScope(
                first_day,
                last_day,
                standing,
                number or "",
                tuple(ends_by_span.get(pk, ())),
                steps.get(revision, ()),
            )
        )
    return dict(spans_of)


def _tool_ends(person_ids: Collection[int], steps_of: dict[int, tuple[int, ...]]) -> list[Ending]:
    """The calibrations that count, of the tools that these people answer for."""
    return [
        Ending(
            person_id=person_id,
            source=f"{CALIBRATION}:{code}:{pk}",
            kind=CALIBRATION,
            ends_on=valid_through,
            steps=steps_of.get(person_id, ()),
        )
        for pk, person_id, code, valid_through in _latest_calibrations()
        .filter(tool__answers_for__in=person_ids)
        .values_list("pk", "tool__answers_for", "tool__code", "valid_through")
    ]


def _latest_calibrations() -> QuerySet[Calibration]:
    """The last calibration of each tool that is in use and in service, where it was passed."""
    later = (
        Calibration.objects.not_withdrawn()
        .filter(tool=OuterRef("tool"))
        .filter(
            Q(calibrated_on__gt=OuterRef("calibrated_on"))
            | Q(calibrated_on=OuterRef("calibrated_on"), pk__gt=OuterRef("pk"))
        )
    )
    return (
        relied_on(Calibration.objects.filter(passed=True))
        .filter(~Exists(later))
        .order_by("valid_through")
    )


# Whom a sweep has to look at


@dataclass(frozen=True)
class Due:
    """Where a step may be due at a site that the ledger does not hold, in a few bytes each.

    Attributes
    ----------
    site : Site
    person_ids, span_ids : array of int, shape (N,)
        The certified spans of which something that ends may be due, and whose they are, in
        the order of the people.
    answering : frozenset of int
        Who answers for a tool whose calibration ends soon or has ended.
    """

    site: Site
    person_ids: "array[int]"
    span_ids: "array[int]"
    answering: frozenset[int]

    def people(self) -> "array[int]":
        """Whose they are, each once and in order."""
        people = array("q", sorted(self.answering))
        people.extend(person_id for person_id, _spans in groupby(self.person_ids))
        return array("q", (person_id for person_id, _same in groupby(sorted(people))))

    def spans_of(self, batch: Sequence[int]) -> list[int]:
        """The spans of some people who follow each other in `people`."""
        first = bisect_left(self.person_ids, batch[0])
        return list(self.span_ids[first : bisect_right(self.person_ids, batch[-1])])


def find_due(site: Site, day: date, steps: dict[int, tuple[int, ...]]) -> Due:
    """Find the people at a site for whom a step may be due that the ledger does not hold.

    The database picks them, so that a sweep reads the few for whom something is new and
    not everybody. Whether and what is written is decided by the domain's rules.
    """
    reach = domain.reach(day, working_days_at(site))
    recorded = Reminder.objects.filter(
        person=OuterRef("span__person"),
        source=OuterRef("source"),
        kind=OuterRef("kind"),
        ends_on=OuterRef("last_day"),
        step=OuterRef("current_step"),
        recipient=OuterRef("span__person"),
    )
    due_ends = (
        StandingEnd.objects.filter(span__standing=CERTIFIED)
        .filter(span__person__in=Person.objects.at_work_on(day).filter(site=site))
        .filter(last_day__lte=reach + timedelta(days=_longest(site, steps)))
        .filter(_holds_on(day))
        .annotate(current_step=_current_step(site, reach, steps))
        .filter(~Exists(recorded), current_step__isnull=False)
    )
    person_ids, span_ids = array("q"), array("q")
    pairs = due_ends.order_by("span__person", "span").values_list("span__person", "span").distinct()
    for person_id, span_id in pairs.iterator():
        person_ids.append(person_id)
        span_ids.append(span_id)
    tools = _latest_calibrations().filter(
        tool__answers_for__in=Person.objects.at_work_on(day).filter(site=site),
        valid_through__lte=reach + timedelta(days=max(steps_in(site.reminder_steps), default=0)),
    )
    answering = tools.order_by().values_list("tool__answers_for", flat=True)
    return Due(site, person_ids, span_ids, frozenset(pk for pk in answering if pk))


def people_with_ends_through(site: Site, day: date, last: date) -> list[int]:
    """Ids of the people at a site for whom a step may fall between two days."""
    reach = domain.reach(last, working_days_at(site))
    return _people_with_ends(site, day, reach + timedelta(days=_longest(site, steps_by_revision())))


def upcoming_people(site: Site, day: date) -> list[int]:
    """Ids of the people at a site for whom something ends within the reach of the week's list."""
    return _people_with_ends(site, day, day + LIST_REACHES)


def _people_with_ends(site: Site, day: date, last: date) -> list[int]:
    """Ids of those for whom something ends from the day before one day to another."""
    at_work = Person.objects.at_work_on(day).filter(site=site)
    eve = day - timedelta(days=1)
    ends = (
        StandingEnd.objects.filter(span__standing=CERTIFIED, span__person__in=at_work)
        .filter(Q(span__last_day__isnull=True) | Q(span__last_day__gte=eve))
        .filter(last_day__range=(eve, last))
    )
    people = set(ends.order_by().values_list("span__person", flat=True).distinct())
    tools = _latest_calibrations().filter(
        tool__answers_for__in=at_work, valid_through__range=(eve, last)
    )
    people.update(pk for pk in tools.values_list("tool__answers_for", flat=True) if pk)
    return sorted(people)


def _longest(site: Site, steps: dict[int, tuple[int, ...]]) -> int:
    every = [*steps_in(site.reminder_steps), *(step for of in steps.values() for step in of)]
    return max(every, default=0)


def _holds_on(day: date) -> Combinable:
    """Ends of what holds on a day, and those that ended a standing which nothing followed."""
    runs = Q(span__last_day__isnull=True) | Q(span__last_day__gte=day)
    followed = StandingSpan.objects.filter(
        person=OuterRef("span__person"),
        scope=OuterRef("span__scope"),
        standing=CERTIFIED,
        first_day__gt=OuterRef("span__last_day"),
        first_day__lte=day,
    )
    return (Q(span__first_day__lte=day, last_day__gte=day) & runs) | (
        Q(last_day__lt=day, span__last_day=F("last_day")) & ~Exists(followed)
    )


def _current_step(site: Site, reach: date, steps: dict[int, tuple[int, ...]]) -> Case:
    """The step with the fewest days left that is due, worked out in the database."""
    revisions: dict[tuple[int, ...], list[int]] = defaultdict(list)
    for pk, of_revision in steps.items():
        revisions[of_revision].append(pk)
    vision = Q(kind=StandingEnd.Kind.VISION)
    whose: list[tuple[Q, Sequence[int]]] = [(vision, steps_in(site.reminder_steps))]
    for of_revision, pks in revisions.items():
        whose.append((~vision & Q(span__certificate__scheme_revision__in=pks), of_revision))
    return Case(
        *(
            When(condition & Q(last_day__lte=reach + timedelta(days=step)), then=step)
            for condition, of_end in whose
            for step in domain.with_day_after(of_end)
        ),
        default=None,
        output_field=IntegerField(null=True),
    )
