"""A draft of criteria as its page shows it: the list with its marks, differences, what is left."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.models import CriteriaSet, Criterion
from assessments.queries import criteria_sets
from records.domain.shown import Line, Shown
from training.models import Stage

from .criteria_words import CriterionDifference, compare_sets, counted
from .judgement_words import criterion_limits, kind_shown


@dataclass(frozen=True, slots=True)
class ListedCriterion:
    """A line of the list: what of it is to be seen at a glance."""

    code: str
    title: str
    state: str
    is_open: bool
    is_dropped: bool


@dataclass(frozen=True, slots=True)
class Group:
    """The criteria of one stage, or of the whole board, with their counts."""

    name: str
    criteria: list[ListedCriterion]
    unconfirmed: int

    @property
    def n(self) -> int:
        return sum(not criterion.is_dropped for criterion in self.criteria)


class DraftPage:
    """What is worked out once for a page about a draft, or about any revision beside another."""

    def __init__(self, made: CriteriaSet) -> None:
        self.made = made
        self.by_two = criteria_sets.two_confirm()

    @cached_property
    def earlier(self) -> CriteriaSet | None:
        return criteria_sets.earlier_of(self.made)

    @cached_property
    def earlier_by_code(self) -> dict[str, Criterion]:
        return {one.code: one for one in self.earlier.all_criteria} if self.earlier else {}

    @cached_property
    def differences(self) -> list[CriterionDifference]:
        return compare_sets(self.earlier, self.made) if self.earlier else []

    @property
    def counted(self) -> str:
        return counted(self.differences)

    @cached_property
    def unconfirmed(self) -> list[Criterion]:
        return criteria_sets.unconfirmed(self.made.all_criteria, by_two=self.by_two)

    @property
    def alike(self) -> int:
        """How many criteria are as the revision before has them."""
        differ = {row.code for row in self.differences}
        return sum(one.code not in differ for one in self.made.all_criteria)

    @cached_property
    def groups(self) -> list[Group]:
        groups = [
            *(self._group(stage.label.capitalize(), _of_joints_at(stage)) for stage in Stage),
            self._group(_("Of the whole board"), _of_board),
        ]
        return [group for group in groups if group.criteria]

    def _group(self, name: str, belongs: Callable[[Criterion], bool]) -> Group:
        there = {one.code for one in self.made.all_criteria}
        dropped = [
            ListedCriterion(one.code, one.title, _("dropped"), is_open=False, is_dropped=True)
            for code, one in self.earlier_by_code.items()
            if code not in there and belongs(one)
        ]
        listed = [
            ListedCriterion(
                one.code,
                one.title,
                self.state_of(one),
                is_open=one in self.unconfirmed,
                is_dropped=False,
            )
            for one in self.made.all_criteria
            if belongs(one)
        ]
        return Group(name, [*listed, *dropped], sum(one.is_open for one in listed))

    def state_of(self, criterion: Criterion) -> str:
        """Its marks in words: ``changed, unconfirmed``; empty where it is as it was."""
        kinds = {row.code: row.kind for row in self.differences}
        words = {"changed": _("changed"), "new": _("new")}
        said = [words[kinds[criterion.code]]] if criterion.code in kinds else []
        if criterion.confirmed_at is None:
            said.append(_("unconfirmed"))
        elif criterion in self.unconfirmed:
            said.append(_("confirmed by one of two"))
        return ", ".join(said)


def _of_joints_at(stage: str) -> Callable[[Criterion], bool]:
    return lambda one: one.stage == stage and one.of == Criterion.Of.JOINT


def _of_board(criterion: Criterion) -> bool:
    return criterion.of == Criterion.Of.BOARD


def draft_shown(made: CriteriaSet, at: datetime) -> Shown:
    """What is shown of a draft to whoever publishes it, criterion by criterion."""
    lines = {_("Summary"): Line(made.summary), _("Document"): Line(made.document)}
    for criterion in made.all_criteria:
        lines[f"{criterion.title} ({criterion.code})"] = Line(_says(criterion))
    return Shown(criteria_sets.draft_digest(made), at, lines)


def _says(criterion: Criterion) -> str:
    demerits = ngettext("%(n)d demerit", "%(n)d demerits", criterion.demerits)
    words = [
        kind_shown(criterion),
        demerits % {"n": criterion.demerits},
        criterion_limits(criterion),
        criterion.text,
        " ".join(filter(None, (criterion.document, criterion.edition, criterion.clause))),
        _("confirmed") if criterion.confirmed_at else _("not confirmed"),
    ]
    return ", ".join(filter(None, words))
