"""The signed readings of a board, and which of their judgements count.

A reading is a grading with whatever corrected it. Several may stand on one board: those of
two graders, an inspection of reworked joints, a third person's decisions, another reading.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import chain
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
        return {signing.grading.grader_id for signing in self.signings.values()}

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
    replaces = {signing.grading_id: signing.grading.replaces_id for signing in signings}
    by_grading: dict[int, SignedReading] = {}
    alone: int | None = None
    for signing in signings:
        root = root_of(signing.grading_id, replaces)
        if graders == 1 and signing.grading.kind == FIRST:
            alone = root if alone is None else alone
            root = alone
        reading = by_grading.setdefault(root, SignedReading(root, signing.grading.kind))
        reading.signings[signing.stage] = signing
        reading.first_signed.setdefault(signing.stage, signing.signed_at)
    return list(by_grading.values())


def that_count(
    signings: Sequence[StageSigning], stages: Sequence[str], graders: int
) -> list[StageSigning]:
    """The signings of a board that its result rests on, of those given oldest first."""
    signed = signed_readings(signings, graders)
    another = _finished(signed, ANOTHER, stages)
    if not another:
        kept = [reading for reading in signed if reading.kind != ANOTHER]
    else:
        # From the last of its stages on nothing but reworked joints is read, or decided on.
        since = max(another[0].first_signed.values())
        kept = another + [
            reading
            for reading in signed
            if reading.kind in (REWORK, DECISION) and min(reading.first_signed.values()) >= since
        ]
    return [signing for reading in kept for signing in reading.signings.values()]


def _finished(
    signed: Iterable[SignedReading], kind: str, stages: Sequence[str]
) -> list[SignedReading]:
    return [reading for reading in signed if reading.kind == kind and reading.covers(stages)]


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
    by_board = {board: Judged() for board in boards}
    for board, pk, kind, grader, replaces, stage in Grading.objects.filter(
        board__in=by_board
    ).values_list("board", "pk", "kind", "grader", "replaces", "signings__stage"):
        judged = by_board[board]
        judged.kinds[pk], judged.graders[pk], judged.replaces[pk] = kind, grader, replaces
        if stage is not None:
            judged.signed.add((pk, stage))
    for board, pk, stage, joint in (
        Judgement.objects.filter(joint__board__in=by_board)
        .order_by()
        .values_list("joint__board", "grading", "stage", "joint")
        .distinct()
    ):
        by_board[board].judgements.add((pk, stage, joint))
    out = Rework.objects.filter(joint__board__in=by_board, handed_in_at__isnull=True)
    for board, joint in out.values_list("joint__board", "joint"):
        by_board[board].out.add(joint)
    return by_board


class Makes(list[Joint]):
    """Every make of every joint of one board, in the order of the board.

    What was judged of them is looked up whenever it is asked for, since it changes; whoever
    reads many boards at once, and writes nothing, brings it along.
    """

    judged: Judged | None = None
    _is_kept = False

    def for_reading(self) -> "Makes":
        """The same makes, which look up once what was judged: for who writes nothing meanwhile."""
        kept = Makes(self)
        kept.judged, kept._is_kept = self.judged, True
        return kept

    def what_was_judged(self, board: Board) -> Judged:
        found = self.judged or judged_on([board.pk])[board.pk]
        if self._is_kept:
            self.judged = found
        return found


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
            joint
            for joint in makes_there
            if joint.make
            == readings.make_that_counts((each.make for each in makes_there), rework_allowed)
        )
        for makes_there in by_position.values()
    ]


@dataclass(frozen=True, slots=True)
class Disagreement:
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


class SignedBoard:
    """A board with its signed readings; nothing of it changes once it is read.

    Stages that are not signed leave their criteria open, so joints stay open until every
    stage asked for is signed. Where two graders are asked for, nothing of either is shown
    before both have signed every stage.
    """

    def __init__(
        self,
        board: Board,
        makes: Makes | None = None,
        signings: list[StageSigning] | None = None,
    ) -> None:
        """Take a board, and its makes and signings where they were read with those of others."""
        self.board = board
        self.exercise = board.exercise
        self.positions = list(board.exercise.positions.all())
        self.makes = makes_of(board) if makes is None else makes
        self.joints = counted_of(self.makes, self.exercise.rework_allowed)
        self.all_signings = _signings_of([board.pk]) if signings is None else signings
        self.signed = signed_readings(self.all_signings, self.exercise.graders)
        stages = self.exercise.stages
        self.first = [reading for reading in self.signed if reading.kind == FIRST]
        self.another = next(iter(_finished(self.signed, ANOTHER, stages)), None)
        self.both_signed = len(_finished(self.first, FIRST, stages)) >= self.exercise.graders
        self.is_open_to_readers = self.exercise.graders == 1 or self.both_signed
        self.signings = self._signings_shown()

    def _signings_shown(self) -> dict[str, StageSigning]:
        """For each stage the signing that is shown for it."""
        if self.another is not None:
            return dict(self.another.signings)
        if not self.is_open_to_readers:
            return {}
        signings = [signing for reading in self.first for signing in reading.signings.values()]
        signings.sort(key=lambda signing: (signing.signed_at, signing.pk))
        return {signing.stage: signing for signing in signings}

    def may_count(self) -> set[tuple[int, str]]:
        """The gradings, each with a stage, whose signing may count."""
        if not (self.is_open_to_readers or self.another):
            return set()
        return {
            (signing.grading_id, stage)
            for reading in self.signed
            for stage, signing in reading.signings.items()
        }

    def judgements(self) -> models.QuerySet[Judgement]:
        """Every judgement under a signing that may count."""
        under = models.Q(pk__in=[])
        for grading, stage in sorted(self.may_count()):
            under |= models.Q(grading=grading, stage=stage)
        return Judgement.objects.filter(under)

    def rules(
        self, joint_type: str | None, signings: Mapping[str, StageSigning]
    ) -> list[scoring.CriterionRule]:
        """The criteria asked of a kind of joint over all stages; of the board for None.

        Parameters
        ----------
        signings
            For each stage the signing whose criteria set it is judged by.
        """
        rules = []
        for stage in self.exercise.stages:
            if stage not in signings:
                # A stand-in that nobody can have judged keeps the joint open.
                rules.append(scoring.CriterionRule(f"{stage}:", scoring.Severity.MINOR, 0))
            else:
                rules += [as_rule(each) for each in self.asked(stage, joint_type)]
        return rules

    def asked(self, stage: str, joint_type: str | None) -> list[Criterion]:
        """The criteria asked at a signed stage, under the set it was judged by."""
        criteria_set = self.signings[stage].grading.criteria_set
        criteria = (
            criteria_set.for_board(stage, {position.joint_type for position in self.positions})
            if joint_type is None
            else criteria_set.for_joint(stage, joint_type)
        )
        alloy = self.board.alloy
        return [each for each in criteria if not each.alloys or alloy in each.alloys]

    def by_reading(self, rows: Iterable[Any]) -> dict[int, dict[Place, Any]]:
        """Rows of `judgements` by the root of the reading they belong to, and by place."""
        root_of_grading = {
            signing.grading_id: reading.root
            for reading in self.signed
            for signing in reading.signings.values()
        }
        by_reading: dict[int, dict[Place, Any]] = {reading.root: {} for reading in self.signed}
        for row in rows:
            by_reading[root_of_grading[row.grading_id]][row.joint_id, code_of(row)] = row
        return by_reading

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
        first = [by_reading[reading.root] for reading in self.first[:2]]
        pairs = [(first[0], first[1], decided)]
        for joint in self.makes:
            if joint.make == 1:
                continue
            rules = self.rules(joint.position.joint_type, self.signings)
            codes = {rule.code for rule in rules}
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
                pairs.append((of_joint[0], of_joint[1], decided))
        return pairs


@dataclass(frozen=True, slots=True)
class EffectiveJudgements:
    """The judgements of a signed board that count, worked out once.

    ``by_place`` holds them, ``undecided`` the places on which two graders differ and a third has
    still to decide. While one is undecided of a board read for the first time there is nothing to
    show: no judgement counts, and ``signings`` (for each stage the one that is shown) is empty.
    ``rules`` are the criteria asked of each kind of joint, and under None of the whole board.
    """

    board: SignedBoard
    by_place: Mapping[Place, Any]
    undecided: tuple[Place, ...]
    signings: Mapping[str, StageSigning]
    rules: Mapping[str | None, Sequence[scoring.CriterionRule]]

    @property
    def counting(self) -> list[StageSigning]:
        """Every signing that the result rests on; none while there is nothing to show."""
        if not self.signings:
            return []
        exercise = self.board.exercise
        return that_count(self.board.all_signings, exercise.stages, exercise.graders)

    @property
    def stages_signed(self) -> list[str]:
        """The stages that are signed for every joint that counts, reworked ones too."""
        remade = [
            joint for joint in self.board.joints if joint.make > 1 and joint.position.required
        ]
        return [
            stage
            for stage in self.signings
            if all(
                (joint.pk, criterion.code) in self.by_place
                for joint in remade
                for criterion in self.board.asked(stage, joint.position.joint_type)
            )
        ]

    def result(self) -> scoring.BoardResult:
        """Add the board up from the judgements that count."""
        by_joint: dict[int | None, dict[str, scoring.Outcome]] = {}
        for (joint, code), row in self.by_place.items():
            by_joint.setdefault(joint, {})[code] = scoring.Outcome(row.outcome)
        exercise = self.board.exercise
        of_board = self.rules[None]
        return scoring.board_result(
            rule=scoring.PassRule(
                joints_required=sum(position.required for position in self.board.positions),
                allowed_rejects=exercise.allowed_rejects,
                pass_mark=exercise.pass_mark,
                stages=tuple(exercise.stages),
            ),
            joints=[
                scoring.joint_result(
                    self.rules[joint.position.joint_type], by_joint.get(joint.pk, {})
                )
                for joint in self.board.joints
                if joint.position.required
            ],
            board=scoring.joint_result(of_board, by_joint.get(None, {})) if of_board else None,
            stages_signed=self.stages_signed,
        )


def effective_judgements(signed_board: SignedBoard, rows: Iterable[Any]) -> EffectiveJudgements:
    """Say which judgements of a board count.

    Parameters
    ----------
    rows : iterable
        What `SignedBoard.judgements` gives, or rows of it with ``grading_id``, ``joint_id``,
        ``criterion__code`` and ``outcome``.
    """
    by_reading = signed_board.by_reading(rows)
    signings = signed_board.signings
    by_place: dict[Place, Any] = {}
    undecided: list[Place] = []
    if signed_board.exercise.graders == 1:
        for reading in signed_board.signed:
            if reading.kind in (FIRST, REWORK):
                by_place |= by_reading[reading.root]
    else:
        by_place, undecided = _of_two(signed_board, by_reading)
        first_makes = {joint.pk for joint in signed_board.makes if joint.make == 1} | {None}
        if signed_board.another is None and any(joint in first_makes for joint, _ in undecided):
            # The result is worked out once every difference is decided, not before.
            by_place, signings = {}, {}
    if signed_board.another is not None:
        by_place |= by_reading[signed_board.another.root]
        undecided = [place for place in undecided if place not in by_place]
    types = {position.joint_type for position in signed_board.positions}
    rules = {each: signed_board.rules(each, signings) for each in (*types, None)}
    return EffectiveJudgements(signed_board, by_place, tuple(undecided), signings, rules)


def _of_two(
    signed_board: SignedBoard, by_reading: Mapping[int, dict[Place, Any]]
) -> tuple[dict[Place, Any], list[Place]]:
    """What two graders agree on or a third has decided, and the places still undecided."""
    by_place: dict[Place, Any] = {}
    undecided: list[Place] = []
    counting = {joint.pk for joint in signed_board.joints} | {None}
    for first, second, decided in signed_board.pairs(by_reading):
        merged = readings.merge([_outcomes(first), _outcomes(second)], _outcomes(decided))
        undecided += [place for place in merged.undecided if place[0] in counting]
        for place in merged.said:
            rows = [each[place] for each in (first, second) if place in each]
            is_decided = len(rows) == 2 and rows[0].outcome != rows[1].outcome
            by_place[place] = decided[place] if is_decided else rows[0]
    return by_place, undecided


def signed_boards(boards: Sequence[Board]) -> dict[int, SignedBoard]:
    """Many boards with their signed readings, by key, in four queries however many they are.

    The exercises of the boards bring their positions along.
    """
    keys = [board.pk for board in boards]
    makes: dict[int, Makes] = {key: Makes() for key in keys}
    for joint in Joint.objects.filter(board__in=keys).prefetch_related("position"):
        makes[joint.board_id].append(joint)
    for makes_there in makes.values():
        makes_there.sort(key=lambda joint: (joint.position.order, joint.make))
    signings: dict[int, list[StageSigning]] = {key: [] for key in keys}
    for signing in _signings_of(keys):
        signings[signing.grading.board_id].append(signing)
    sets = {each.grading.criteria_set_id: each for each in chain(*signings.values())}
    models.prefetch_related_objects(
        [each.grading.criteria_set for each in sets.values()], "criteria"
    )
    return {board.pk: SignedBoard(board, makes[board.pk], signings[board.pk]) for board in boards}


def judgements_on(signed: Mapping[int, SignedBoard]) -> models.QuerySet[Judgement]:
    """Every judgement under a signing of these boards; `rows_that_may_count` deals them out."""
    return Judgement.objects.filter(
        grading__board__in=signed, grading__signings__stage=models.F("stage")
    ).order_by()


def rows_that_may_count(
    signed: Mapping[int, SignedBoard], rows: Iterable[Any]
) -> dict[int, list[Any]]:
    """Rows of judgements by board, of those under a signing that may count."""
    board_of = {
        signing.grading_id: key for key, each in signed.items() for signing in each.all_signings
    }
    may_count = {key: signed_board.may_count() for key, signed_board in signed.items()}
    found: dict[int, list[Any]] = {key: [] for key in signed}
    for row in rows:
        key = board_of[row.grading_id]
        if (row.grading_id, row.stage) in may_count[key]:
            found[key].append(row)
    return found


def effective_on(boards: Sequence[Board]) -> list[EffectiveJudgements]:
    """The judgements that count of each of many boards, by five queries however many they are.

    Their rows are tuples with ``pk``, ``grading_id``, ``stage``, ``joint_id``,
    ``criterion__code`` and ``outcome``. The exercises of the boards bring their positions along.
    """
    signed = signed_boards(boards)
    rows = rows_that_may_count(
        signed,
        judgements_on(signed).values_list(
            "pk", "grading_id", "stage", "joint_id", "criterion__code", "outcome", named=True
        ),
    )
    return [effective_judgements(signed[board.pk], rows[board.pk]) for board in boards]


def _signings_of(boards: Sequence[int]) -> list[StageSigning]:
    """The signings of these boards, oldest first; those by one criteria set share its criteria."""
    signings = list(
        StageSigning.objects.filter(grading__board__in=boards)
        .select_related("grading__criteria_set", "signature")
        .order_by("signed_at", "id")
    )
    sets: dict[int, CriteriaSet] = {}
    for signing in signings:
        own = signing.grading.criteria_set
        signing.grading.criteria_set = sets.setdefault(own.pk, own)
    return signings


def as_rule(criterion: Criterion) -> scoring.CriterionRule:
    return scoring.CriterionRule(
        criterion.code, scoring.Severity(criterion.severity), criterion.demerits
    )


def code_of(row: Any) -> str:
    return row.criterion.code if isinstance(row, Judgement) else row.criterion__code


def _outcomes(rows: Mapping[Place, Any]) -> dict[Place, scoring.Outcome]:
    return {place: scoring.Outcome(row.outcome) for place, row in rows.items()}


def disagreements(board: Board) -> list[Disagreement]:
    """Where the two graders of a board differ, in its order; empty before both have signed.

    What a third person has decided of it stands beside it.
    """
    if board.exercise.graders == 1:
        return []
    signed_board = SignedBoard(board)
    rows = list(
        signed_board.judgements().select_related(
            "joint__position", "criterion", "photo", "measurement__photo", "tool", "grading__grader"
        )
    )
    undecided = effective_judgements(signed_board, rows).undecided
    pairs = [
        Disagreement(first[place], second[place], decided.get(place), place in undecided)
        for first, second, decided in signed_board.pairs(signed_board.by_reading(rows))
        for place in readings.compare(_outcomes(first), _outcomes(second)).differ
    ]
    pairs.sort(key=lambda each: _order(each.first))
    return pairs


def to_decide(board: Board) -> list[Disagreement]:
    """Where the two graders differ and a third person is waited for, in the order of the board."""
    return [disagreement for disagreement in disagreements(board) if disagreement.waits]


def _order(row: Judgement) -> tuple:
    joint = row.joint
    return (joint.position.order if joint else 10**6, row.criterion.order)
