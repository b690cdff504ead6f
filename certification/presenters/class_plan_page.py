"""What the page of a plan of classes shows: who goes when, at what cost, and what is in the way."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.core.paginator import Page, Paginator
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from certification.domain.class_plan import (
    Need,
    PossibleClass,
    Why,
    figures_of,
    given_away,
    lapsed_if_met,
    lapsed_if_unmet,
)
from certification.models import ClassPlan, PlannedNeed, Scope
from certification.queries import class_plan_facts
from certification.queries.class_plan_facts import Away, ClassPlanFacts, PlannedClass
from people.models import Person
from people.presenters.days import format_unbroken_day
from training.models import ClassSession

LINES_A_PAGE = 100
MOST_COLUMNS = 8
"""With more classes a table is too wide, and every line lists those that it can go to."""

AWAY_WORDS = {
    Away.AWAY: gettext_lazy("away"),
    Away.IN_CLASS: gettext_lazy("in another class"),
    Away.NOT_AT_WORK: gettext_lazy("not here then"),
}


@dataclass(frozen=True)
class Column:
    """A class, how many the plan puts in it and how many places were free."""

    session: ClassSession
    planned: PlannedClass
    people: Sequence[Person]

    @property
    def day(self) -> date:
        return self.planned.days[0]

    @property
    def last_day(self) -> date:
        return self.planned.days[-1]

    @property
    def left(self) -> int:
        return self.planned.places - len(self.people)


@dataclass(frozen=True)
class Cell:
    """A class that a line can go to (``cost`` says at what) or cannot (``word`` says why)."""

    column: Column | None
    cost: str = ""
    word: Any = ""
    is_checked: bool = False

    @property
    def value(self) -> str:
        return str(self.column.planned.pk) if self.column else ""


@dataclass(frozen=True)
class Line:
    """One need: whose, what, its cells (None where a class renews something else)."""

    need: PlannedNeed
    scopes: str
    cells: Sequence[Cell | None]
    no_class: Cell
    moved_from: str = ""
    costs_more: str = ""
    why: str = ""

    @property
    def name(self) -> str:
        return f"need_{self.need.pk}"

    @property
    def has_note(self) -> bool:
        return bool(self.why or self.need.is_fixed)


@dataclass(frozen=True)
class Figure:
    """One objective: as the plan stands, as it was worked out, and the least that can be."""

    label: Any
    value: int
    worked_out: int
    bound: int
    bound_holds: bool

    @property
    def says(self) -> str:
        """How it stands to the least that there can be, which a page says of each of them."""
        if self.value != self.worked_out:
            return _("%(n)d as worked out") % {"n": self.worked_out}
        if not self.bound_holds:
            return _("as worked out")
        if self.value == self.bound:
            return _("the least there is")
        return _("at least %(bound)d, so %(gap)d more at most than the least") % {
            "bound": self.bound,
            "gap": self.value - self.bound,
        }


@dataclass(frozen=True)
class ClassPlanPage:
    """All of a plan, and those lines of it that one page of a long one shows."""

    plan: ClassPlan
    needs: Sequence[PlannedNeed]
    columns: Sequence[Column]
    lines: Page[PlannedNeed]
    shown: Sequence[Line]
    figures: Sequence[Figure]
    moved: int
    placed: Sequence[tuple[Person, ClassSession, str]]
    changes: Sequence[str] = ()
    left: Sequence[tuple[PlannedNeed, str]] = field(default_factory=list)
    enrolled: int = 0

    @property
    def is_table(self) -> bool:
        return len(self.columns) <= MOST_COLUMNS

    @property
    def width(self) -> int:
        return len(self.columns) + 3

    @property
    def going(self) -> int:
        return len({need.person_id for need in self.needs if need.chosen_id is not None})

    @property
    def people(self) -> int:
        return len({need.person_id for need in self.needs})

    @property
    def invited_to(self) -> list[Column]:
        return [column for column in self.columns if column.people]

    @property
    def not_written_to(self) -> list[str]:
        """Names of those for whom the plan has no class at all."""
        going = {need.person_id for need in self.needs if need.chosen_id is not None}
        return list(
            dict.fromkeys(
                need.person.full_name for need in self.needs if need.person_id not in going
            )
        )


def page_of(
    plan: ClassPlan,
    now_facts: ClassPlanFacts | None = None,
    choices: Mapping[int, int | None] | None = None,
    number: str | None = None,
) -> ClassPlanPage:
    """Fill the page of a plan that is worked out.

    Parameters
    ----------
    now_facts : ClassPlanFacts, optional
        What the plan would rest on now, to say what has changed since.
    choices : mapping of int to int or None, optional
        What was chosen on a page that is shown again since it could not be done.
    number : str, optional
        Which page of the lines is shown.
    """
    needs = list(plan.needs.select_related("person"))
    facts = class_plan_facts.from_json(plan.rests_on, needs)
    keys = {one.pk for one in facts.classes} | {session for _p, session, _c in facts.placed}
    sessions = ClassSession.objects.select_related("site", "course_revision__course").in_bulk(keys)
    titles = dict(Scope.objects.values_list("code", "title"))
    columns = _columns(facts, needs, sessions)
    possible = {one.key: one for one in class_plan_facts.possible_classes(facts)}
    filling = _Filling(plan, facts, columns, possible, titles, choices or {})
    lines = Paginator(needs, LINES_A_PAGE).get_page(number)
    return ClassPlanPage(
        plan=plan,
        needs=needs,
        columns=columns,
        lines=lines,
        shown=[filling.line(need) for need in lines],
        figures=_figures(plan, needs, possible),
        moved=sum(need.is_moved for need in needs),
        placed=_placed(facts, sessions, titles),
        changes=changes_since(facts, now_facts) if now_facts is not None else (),
        left=[
            (need, need.get_outcome_display())
            for need in needs
            if need.outcome
            and need.outcome not in (PlannedNeed.Outcome.ENROLLED, PlannedNeed.Outcome.WAS_ENROLLED)
        ],
        enrolled=len(
            {
                (need.person_id, need.chosen_id)
                for need in needs
                if need.outcome == PlannedNeed.Outcome.ENROLLED
            }
        ),
    )


def _columns(
    facts: ClassPlanFacts,
    needs: Sequence[PlannedNeed],
    sessions: Mapping[int, ClassSession],
) -> list[Column]:
    people: dict[int, dict[int, Person]] = defaultdict(dict)
    for need in needs:
        if need.chosen_id is not None:
            people[need.chosen_id][need.person_id] = need.person
    return [
        Column(
            session=sessions[one.pk],
            planned=one,
            people=sorted(people[one.pk].values(), key=lambda person: person.full_name),
        )
        for one in facts.classes
        if one.pk in sessions
    ]


def _titles(codes: Iterable[str], titles: Mapping[str, str]) -> str:
    return "; ".join(sorted(titles.get(code, code) for code in codes))


def _placed(
    facts: ClassPlanFacts, sessions: Mapping[int, ClassSession], titles: Mapping[str, str]
) -> list[tuple[Person, ClassSession, str]]:
    people = Person.objects.in_bulk({person for person, _session, _codes in facts.placed})
    return [
        (people[person], sessions[session], _titles(codes, titles))
        for person, session, codes in facts.placed
        if session in sessions
    ]


# Lines


def needs_of(need: PlannedNeed) -> list[Need]:
    """A line as the domain takes it: one need for each of its scopes."""
    return [
        Need(class_plan_facts.scope_key(need.classes, code), need.ends_on, need.window_days)
        for code in need.scope_codes
    ]


class _Filling:
    def __init__(
        self,
        plan: ClassPlan,
        facts: ClassPlanFacts,
        columns: Sequence[Column],
        possible: Mapping[Any, PossibleClass],
        titles: Mapping[str, str],
        choices: Mapping[int, int | None],
    ) -> None:
        self.plan, self.facts, self.columns, self.possible = plan, facts, columns, possible
        self.titles, self.choices = titles, choices
        self.by_pk = {column.planned.pk: column for column in columns}

    def line(self, need: PlannedNeed) -> Line:
        chosen = self.choices.get(need.pk, need.chosen_id)
        asked = needs_of(need)[0]
        cells = [self._cell(need, asked, column, chosen) for column in self.columns]
        return Line(
            need=need,
            scopes=_titles(need.scope_codes, self.titles),
            cells=cells,
            no_class=Cell(
                None, _lapsed(lapsed_if_unmet(asked, self.plan.through)), is_checked=chosen is None
            ),
            moved_from=self._class_words(need.worked_out_id) if need.is_moved else "",
            costs_more=self._costs_more(need, asked) if need.is_moved else "",
            why=self._why(need) if need.chosen_id is None and not need.is_moved else "",
        )

    def _cell(
        self, need: PlannedNeed, asked: Need, column: Column, chosen: int | None
    ) -> Cell | None:
        planned = column.planned
        if planned.pk not in need.classes:
            return None
        why = self.facts.why_away(need.person_id, planned.days)
        if why is not None:
            return Cell(column, word=AWAY_WORDS[why])
        if not planned.instructors:
            return Cell(column, word=_("no instructor"))
        return Cell(column, self._cost(asked, planned.pk), is_checked=chosen == planned.pk)

    def _cost(self, asked: Need, pk: int | None) -> str:
        """What a class costs a line, in words and for each of its scopes."""
        if pk is None or pk not in self.possible:
            return _lapsed(lapsed_if_unmet(asked, self.plan.through))
        lapsed = lapsed_if_met(asked, self.possible[pk], self.plan.through)
        early = given_away(asked, self.possible[pk])
        if lapsed:
            return _lapsed(lapsed)
        if early:
            return _("%(n)d given away") % {"n": early}
        return _("no loss")

    def _class_words(self, pk: int | None) -> str:
        if pk is None or pk not in self.by_pk:
            return _("no class")
        column = self.by_pk[pk]
        return f"{format_unbroken_day(column.day)}, {column.session.site.name}"

    def _costs_more(self, need: PlannedNeed, asked: Need) -> str:
        return _("%(now)s, and %(before)s as worked out.") % {
            "now": self._cost(asked, need.chosen_id),
            "before": self._cost(asked, need.worked_out_id),
        }

    def _why(self, need: PlannedNeed) -> str:
        """Why a line has no class, in a sentence with the classes that it is about."""
        named = ", ".join(self.by_pk[pk].session.number for pk in need.classes if pk in self.by_pk)
        said = {
            Why.NO_CLASS: _(
                "No class here renews it and ends by %(day)s. Plan one, or let people go to "
                "classes of another site."
            ),
            Why.AWAY: _("Away, or in another class, on days of each class that renews it: %(in)s."),
            Why.NO_INSTRUCTOR: _(
                "Nobody who teaches %(in)s is an instructor there, certified and there on its "
                "days. Give the class another instructor."
            ),
            Why.FULL: _("No place is left in %(in)s. Give it more places, or plan another class."),
            Why.NOT_HELD: _(
                "Its room or instructor is taken by another class, or the line lead lets nobody "
                "go: %(in)s."
            ),
            Why.LEAD_LIMIT: _(
                "Too many of the line lead’s people would be away on the days of %(in)s."
            ),
            Why.OTHER_CLASS: _("In another class of this plan on the days of %(in)s."),
            Why.LEFT_OUT: _("Somebody decided on no class."),
        }
        try:
            sentence = said[Why(need.why)]
        except ValueError:
            return _("A class within this period would save no day.")
        return sentence % {"in": named, "day": format_unbroken_day(self.plan.through)}


def _lapsed(days: int) -> str:
    return _("%(n)d lapsed") % {"n": days} if days else _("no loss")


# What it costs


def _figures(
    plan: ClassPlan, needs: Sequence[PlannedNeed], possible: Mapping[Any, PossibleClass]
) -> list[Figure]:
    """The three objectives; a bound of the later ones holds while the earlier are as good."""
    now = figures_of(
        (
            (one, possible.get(need.chosen_id) if need.chosen_id is not None else None)
            for need in needs
            for one in needs_of(need)
        ),
        plan.through,
    )
    labels = (
        ngettext("day without the right", "days without the right", now[0]),
        ngettext("class to hold", "classes to hold", now[1]),
        ngettext("day of validity given away", "days of validity given away", now[2]),
    )
    figures, holds = [], True
    for label, value, (worked_out, bound) in zip(labels, now, plan.figures, strict=True):
        figures.append(Figure(label, value, worked_out, bound, holds))
        holds &= value <= worked_out
    return figures


def gap_words(page: ClassPlanPage) -> str:
    """How far the days without the right lie above what no plan can undercut."""
    lapsed = page.figures[0]
    gap = lapsed.value - lapsed.bound
    if not gap:
        return _("No plan with these classes loses fewer days.")
    if lapsed.value == lapsed.worked_out:
        return _(
            "%(gap)d above the bound: time was up before it was known whether fewer can be lost."
        ) % {"gap": gap}
    return _("%(gap)d above the bound, %(moved)d by moving names.") % {
        "gap": gap,
        "moved": lapsed.value - lapsed.worked_out,
    }


# Since then


def changes_since(before: ClassPlanFacts, now: ClassPlanFacts) -> list[str]:
    """What the plan rests on and is otherwise now, a sentence for each kind."""
    sentences = []
    numbers = _differing(
        {one.pk: one for one in before.every_class}, {one.pk: one for one in now.every_class}
    )
    if numbers:
        every = (*before.every_class, *now.every_class)
        named = sorted({one.number for one in every if one.pk in numbers})
        sentences.append(_("Classes: %(numbers)s.") % {"numbers": ", ".join(named)})
    rights = _differing(_ends(before), _ends(now)) | _differing(
        {person: (session, codes) for person, session, codes in before.placed},
        {person: (session, codes) for person, session, codes in now.placed},
    )
    if rights:
        sentences.append(
            _("Rights that end, or places taken: %(people)s.") % {"people": _names(rights)}
        )
    away = _differing(before.away, now.away) - rights
    if away and not numbers:
        sentences.append(_("Days away: %(people)s.") % {"people": _names(away)})
    limits = _differing(before.limits, now.limits) | {
        lead for lead, _day in _differing(before.away_already, now.away_already)
    }
    if limits:
        sentences.append(
            _("How many may be away at once, or are already, of the people of: %(leads)s.")
            % {"leads": _names(limits)}
        )
    return sentences


def _ends(facts: ClassPlanFacts) -> dict[int, frozenset[tuple[Any, ...]]]:
    ends: dict[int, set[tuple[Any, ...]]] = defaultdict(set)
    for right in facts.rights:
        ends[right.person].update((code, right.ends_on, right.window_days) for code in right.scopes)
    return {person: frozenset(of_person) for person, of_person in ends.items()}


def _differing(before: Mapping[Any, Any], now: Mapping[Any, Any]) -> set[Any]:
    return {key for key in {*before, *now} if before.get(key) != now.get(key)}


MOST_NAMED = 12


def _names(person_ids: Iterable[int]) -> str:
    keys = set(person_ids)
    people = Person.objects.filter(pk__in=keys).order_by("full_name")[:MOST_NAMED]
    named = ", ".join(person.full_name for person in people)
    more = len(keys) - MOST_NAMED
    return _("%(names)s and %(n)d more") % {"names": named, "n": more} if more > 0 else named
