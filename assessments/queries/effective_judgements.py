"""The signed readings of a board, and which of their judgements count.

A reading is a grading with whatever corrected it. Several may stand on one board: those of
two graders, an inspection of reworked joints, a third person's decisions, another reading.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import models

from assessments.domain import readings, scoring
from assessments.models import (
    Board,
    CriteriaSet,
    Criterion,
    Grading,
    Joint,
    Judgement,
    Photo,
    Rework,
    StageSigning,
)

FIRST, REWORK = Grading.Kind.FIRST, Grading.Kind.REWORK
DECISION, ANOTHER = Grading.Kind.DECISION, Grading.Kind.ANOTHER

Place = tuple[int | None, str]
"""A joint by its id (None is the whole board) under a criterion by its code."""


@dataclass(frozen=True, slots=True)
class SignedReading:
    """One reading by its signings: for each stage the one that counts, the latest.

    ``first_signed`` says when each stage of it was signed for the first time.
    """

    root: int
    kind: str
    signings: dict[str, StageSigning] = field(default_factory=dict)
    first_signed: dict[str, datetime] = field(default_factory=dict)

    @property
    def graders(self) -> set[int]:
        """Whose signatures count in it."""
        return {one.grading.grader_id for one in self.signings.values()}

    def covers(self, stages: Iterable[str]) -> bool:
        return set(stages) <= self.signings.keys()


def root_of(grading_id: int, replaces: Mapping[int, int | None]) -> int:
    """The grading at which a chain of corrections began."""
    while (earlier := replaces.get(grading_id)) is not None:
        grading_id = earlier
    return grading_id


def signed_readings(signings: Sequence[StageSigning], graders: int) -> list[SignedReading]:
    """Signings of one board, oldest first, gathered by the reading they belong to.

    Where the exercise asks for one grader, whoever signs a stage goes on where another left
    off, so that all first gradings are one reading: of each stage the latest signing counts,
    whosever it is and whichever stage of theirs it corrects.
    """
    # Only a signed grading can be replaced, so every link of a chain is among these.
    replaces = {one.grading_id: one.grading.replaces_id for one in signings}
    found: dict[int, SignedReading] = {}
    alone: int | None = None
    for one in signings:
        root = root_of(one.grading_id, replaces)
        if graders == 1 and one.grading.kind == FIRST:
            alone = root if alone is None else alone
            root = alone
        reading = found.setdefault(root, SignedReading(root, one.grading.kind))
        reading.signings[one.stage] = one
        reading.first_signed.setdefault(one.stage, one.signed_at)
    return list(found.values())


def that_count(
    signings: Sequence[StageSigning], stages: Sequence[str], graders: int
) -> list[StageSigning]:
    """The signings of a board that its result rests on, of those given oldest first."""
    signed = signed_readings(signings, graders)
    another = _finished(signed, ANOTHER, stages)
    if not another:
        kept = [one for one in signed if one.kind != ANOTHER]
    else:
        # From the last of its stages on nothing but reworked joints is read, or decided on.
        since = max(another[0].first_signed.values())
        kept = another + [
            one
            for one in signed
            if one.kind in (REWORK, DECISION) and min(one.first_signed.values()) >= since
        ]
    return [signing for one in kept for signing in one.signings.values()]


def _finished(
    signed: Iterable[SignedReading], kind: str, stages: Sequence[str]
) -> list[SignedReading]:
    return [one for one in signed if one.kind == kind and one.covers(stages)]


@dataclass(frozen=True, slots=True)
class Judged:
    """What was judged and signed of a board's joints, as far as the makes to read hang on it.

    ``signed`` holds pairs of a grading and a stage, ``judgements`` a grading, a stage and a
    joint, ``out`` the joints that are being reworked.
    """

    kinds: dict[int, str] = field(default_factory=dict)
    graders: dict[int, int] = field(default_factory=dict)
    replaces: dict[int, int | None] = field(default_factory=dict)
    signed: set[tuple[int, str]] = field(default_factory=set)
    judgements: set[tuple[int, str, int]] = field(default_factory=set)
    out: set[int] = field(default_factory=set)

    def first_signed(self, stage: str) -> set[int]:
        """The first gradings in which a stage is signed."""
        return {pk for pk, of in self.signed if of == stage and self.kinds[pk] == FIRST}

    def joints_in(self, gradings: Iterable[int], stage: str) -> set[int]:
        wanted = set(gradings)
        return {joint for pk, of, joint in self.judgements if of == stage and pk in wanted}


def judged_on(boards: Iterable[int]) -> dict[int, Judged]:
    """What was judged on these boards, by three queries however many they are."""
    found = {board: Judged() for board in boards}
    for board, pk, kind, grader, replaces, stage in Grading.objects.filter(
        board__in=found
    ).values_list("board", "pk", "kind", "grader", "replaces", "signings__stage"):
        one = found[board]
        one.kinds[pk], one.graders[pk], one.replaces[pk] = kind, grader, replaces
        if stage is not None:
            one.signed.add((pk, stage))
    for board, pk, stage, joint in (
        Judgement.objects.filter(joint__board__in=found)
        .order_by()
        .values_list("joint__board", "grading", "stage", "joint")
        .distinct()
    ):
        found[board].judgements.add((pk, stage, joint))
    out = Rework.objects.filter(joint__board__in=found, handed_in_at__isnull=True)
    for board, joint in out.values_list("joint__board", "joint"):
        found[board].out.add(joint)
    return found


class Makes(list[Joint]):
    """Every make of every joint of one board, in the order of the board.

    What was judged of them is looked up whenever it is asked for, since it changes; whoever
    reads many boards at once, and writes nothing, brings it along.
    """

    judged: Judged | None = None

    def what_was_judged(self, board: Board) -> Judged:
        return self.judged or judged_on([board.pk])[board.pk]


def makes_of(board: Board) -> Makes:
    """Every make of every joint, in the order of the board."""
    return Makes(board.joints.select_related("position").order_by("position__order", "make"))


def counted_of(makes: Iterable[Joint], rework_allowed: int) -> list[Joint]:
    """Of every position the make that counts, in the order given."""
    by_position: dict[int, list[Joint]] = {}
    for joint in makes:
        by_position.setdefault(joint.position_id, []).append(joint)
    return [
        next(
            one
            for one in found
            if one.make == readings.make_that_counts((each.make for each in found), rework_allowed)
        )
        for found in by_position.values()
    ]


@dataclass(frozen=True, slots=True)
class Differing:
    """Two graders' judgements of one place that differ, and what a third has decided.

    ``waits`` says whether a third person is waited for: not where the place counts no more,
    because the joint was made again or the board read again since.
    """

    first: Judgement
    second: Judgement
    decision: Judgement | None
    waits: bool

    @property
    def photo(self) -> Photo | None:
        """The photograph that a grader judged by, where either did."""
        return self.first.photo or self.second.photo


class Sheet:
    """A board, its signed readings, and the rules that its joints are judged by.

    Stages that are not signed leave their criteria open, so joints stay open until every
    stage asked for is signed. Where two graders are asked for, nothing of either is on the
    sheet before both have signed every stage and each difference is decided.
    """

    def __init__(self, board: Board) -> None:
        self.board = board
        self.exercise = board.exercise
        self.positions = list(board.exercise.positions.all())
        self.makes = makes_of(board)
        self.joints = counted_of(self.makes, self.exercise.rework_allowed)
        self.all_signings = list(
            StageSigning.objects.filter(grading__board=board)
            .select_related("grading__criteria_set", "signature")
            .order_by("signed_at", "id")
        )
        self.signed = signed_readings(self.all_signings, self.exercise.graders)
        stages = self.exercise.stages
        self.first = [one for one in self.signed if one.kind == FIRST]
        self.another = next(iter(_finished(self.signed, ANOTHER, stages)), None)
        self.both_signed = len(_finished(self.first, FIRST, stages)) >= self.exercise.graders
        self.is_open_to_readers = self.exercise.graders == 1 or self.both_signed
        self.signings = self._signings()
        self.undecided: list[Place] = []
        self._rules: dict[str | None, list[scoring.CriterionRule]] = {}
        self._sets: dict[int, CriteriaSet] = {}

    @property
    def counting(self) -> list[StageSigning]:
        """Every signing that the result rests on; none while there is nothing to show."""
        if not self.signings:
            return []
        return that_count(self.all_signings, self.exercise.stages, self.exercise.graders)

    def _signings(self) -> dict[str, StageSigning]:
        """For each stage the signing that is shown for it."""
        if self.another is not None:
            return dict(self.another.signings)
        if not self.is_open_to_readers:
            return {}
        found = [signing for one in self.first for signing in one.signings.values()]
        found.sort(key=lambda one: (one.signed_at, one.pk))
        return {one.stage: one for one in found}

    def judgements(self) -> models.QuerySet[Judgement]:
        """Every judgement under a signing that may count."""
        found = models.Q(pk__in=[])
        if self.is_open_to_readers or self.another:
            for reading in self.signed:
                for stage, one in reading.signings.items():
                    found |= models.Q(grading=one.grading_id, stage=stage)
        return Judgement.objects.filter(found)

    def rules(self, joint_type: str | None) -> list[scoring.CriterionRule]:
        """The criteria asked of a kind of joint over all stages; of the board for None."""
        if joint_type not in self._rules:
            found = []
            for stage in self.exercise.stages:
                if stage not in self.signings:
                    # A stand-in that nobody can have judged keeps the joint open.
                    found.append(scoring.CriterionRule(f"{stage}:", scoring.Severity.MINOR, 0))
                else:
                    found += [as_rule(one) for one in self.asked(stage, joint_type)]
            self._rules[joint_type] = found
        return self._rules[joint_type]

    def asked(self, stage: str, joint_type: str | None) -> list[Criterion]:
        """The criteria asked at a signed stage, under the set it was judged by."""
        own = self.signings[stage].grading.criteria_set
        criteria_set = self._sets.setdefault(own.pk, own)
        types = {one.joint_type for one in self.positions}
        found = (
            criteria_set.for_board(stage, types)
            if joint_type is None
            else criteria_set.for_joint(stage, joint_type)
        )
        return [one for one in found if not one.alloys or self.board.alloy in one.alloys]

    def count(self, rows: Iterable[Any]) -> dict[Place, Any]:
        """Of the judgements on the sheet those that count, by place.

        Parameters
        ----------
        rows : iterable
            What `judgements` gives, or rows of it with ``grading_id``, ``joint_id``, ``code``
            and ``outcome``.
        """
        by_reading = self.by_reading(rows)
        self.undecided = []
        if self.exercise.graders == 1:
            said: dict[Place, Any] = {}
            for reading in self.signed:
                if reading.kind in (FIRST, REWORK):
                    said |= by_reading[reading.root]
        else:
            said = self._of_two(by_reading)
        if self.another is not None:
            said |= by_reading[self.another.root]
            self.undecided = [one for one in self.undecided if one not in said]
        return said

    def by_reading(self, rows: Iterable[Any]) -> dict[int, dict[Place, Any]]:
        """Such rows by the root of the reading they belong to, and by place."""
        root_of_grading = {
            signing.grading_id: one.root for one in self.signed for signing in one.signings.values()
        }
        found: dict[int, dict[Place, Any]] = {one.root: {} for one in self.signed}
        for row in rows:
            found[root_of_grading[row.grading_id]][row.joint_id, code_of(row)] = row
        return found

    def _of_two(self, by_reading: Mapping[int, dict[Place, Any]]) -> dict[Place, Any]:
        said: dict[Place, Any] = {}
        counting = {joint.pk for joint in self.joints} | {None}
        for one, other, decided in self.pairs(by_reading):
            merged = readings.merge([_outcomes(one), _outcomes(other)], _outcomes(decided))
            self.undecided += [place for place in merged.undecided if place[0] in counting]
            for place in merged.said:
                rows = [each[place] for each in (one, other) if place in each]
                is_decided = len(rows) == 2 and rows[0].outcome != rows[1].outcome
                said[place] = decided[place] if is_decided else rows[0]
        on_first_makes = {joint.pk for joint in self.makes if joint.make == 1} | {None}
        if self.another is None and any(joint in on_first_makes for joint, _ in self.undecided):
            # The result is worked out once every difference is decided, not before.
            self.signings = {}
            self._rules = {}
            return {}
        return said

    def pairs(
        self, by_reading: Mapping[int, dict[Place, Any]]
    ) -> list[tuple[dict[Place, Any], dict[Place, Any], dict[Place, Any]]]:
        """Two graders' judgements and the third's: of the board, then of each make since."""
        if not self.both_signed:
            return []
        decided: dict[Place, Any] = {}
        for reading in self.signed:
            if reading.kind == DECISION:
                decided |= by_reading[reading.root]
        first = [by_reading[one.root] for one in self.first[:2]]
        found = [(first[0], first[1], decided)]
        for joint in self.makes:
            if joint.make == 1:
                continue
            codes = {rule.code for rule in self.rules(joint.position.joint_type)}
            of_joint = []
            for reading in self.signed:
                rows = {
                    place: row
                    for place, row in by_reading[reading.root].items()
                    if place[0] == joint.pk
                }
                if reading.kind == REWORK and codes <= {code for _, code in rows}:
                    of_joint.append(rows)
            if len(of_joint) >= 2:
                found.append((of_joint[0], of_joint[1], decided))
        return found

    def stages_signed(self, said: Mapping[Place, Any]) -> list[str]:
        """The stages that are signed for every joint that counts, reworked ones too."""
        remade = [one for one in self.joints if one.make > 1 and one.position.required]
        return [
            stage
            for stage in self.signings
            if all(
                (joint.pk, criterion.code) in said
                for joint in remade
                for criterion in self.asked(stage, joint.position.joint_type)
            )
        ]

    def result(self, said: Mapping[Place, Any]) -> scoring.BoardResult:
        """Add the board up from the judgements that count."""
        by_joint: dict[int | None, dict[str, scoring.Outcome]] = {}
        for (joint, code), row in said.items():
            by_joint.setdefault(joint, {})[code] = scoring.Outcome(row.outcome)
        return scoring.board_result(
            rule=scoring.PassRule(
                joints_required=sum(one.required for one in self.positions),
                allowed_rejects=self.exercise.allowed_rejects,
                pass_mark=self.exercise.pass_mark,
                stages=tuple(self.exercise.stages),
            ),
            joints=[
                scoring.joint_result(self.rules(one.position.joint_type), by_joint.get(one.pk, {}))
                for one in self.joints
                if one.position.required
            ],
            board=scoring.joint_result(self.rules(None), by_joint.get(None, {}))
            if self.rules(None)
            else None,
            stages_signed=self.stages_signed(said),
        )


def as_rule(criterion: Criterion) -> scoring.CriterionRule:
    return scoring.CriterionRule(
        criterion.code, scoring.Severity(criterion.severity), criterion.demerits
    )


def code_of(row: Any) -> str:
    return row.criterion.code if isinstance(row, Judgement) else row.criterion__code


def _outcomes(rows: Mapping[Place, Any]) -> dict[Place, scoring.Outcome]:
    return {place: scoring.Outcome(row.outcome) for place, row in rows.items()}


def differing(board: Board) -> list[Differing]:
    """Where the two graders of a board differ, in its order; empty before both have signed.

    What a third person has decided of it stands beside it.
    """
    if board.exercise.graders == 1:
        return []
    sheet = Sheet(board)
    rows = list(
        sheet.judgements().select_related(
            "joint__position", "criterion", "photo", "measurement__photo", "tool", "grading__grader"
        )
    )
    pairs = sheet.pairs(sheet.by_reading(rows))
    sheet.count(rows)
    found = [
        Differing(one[place], other[place], decided.get(place), place in sheet.undecided)
        for one, other, decided in pairs
        for place in readings.compare(_outcomes(one), _outcomes(other)).differ
    ]
    found.sort(key=lambda one: _order(one.first))
    return found


def to_decide(board: Board) -> list[Differing]:
    """Where the two graders differ and a third person is waited for, in the order of the board."""
    return [one for one in differing(board) if one.waits]


def _order(row: Judgement) -> tuple:
    joint = row.joint
    return (joint.position.order if joint else 10**6, row.criterion.order)
