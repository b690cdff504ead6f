"""What the judgements of a board add up to: for signing, for showing, for the list."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction

from django.db import models

from assessments.domain import scoring
from assessments.models import (
    Board,
    BoardOutcome,
    CriteriaSet,
    Criterion,
    Grading,
    Joint,
    Judgement,
    Measurement,
    StageSigning,
)

WHOLE_BOARD = "board"


def joints_that_count(board: Board) -> list[Joint]:
    """The last make of each position, in the order of the board."""
    last: dict[int, Joint] = {}
    for joint in board.joints.select_related("position").order_by("position__order", "make"):
        last[joint.position_id] = joint
    return list(last.values())


def criteria_for(grading: Grading, stage: str, joint: Joint | None) -> list[Criterion]:
    """The criteria asked of a joint (or of the whole board) at a stage of this grading."""
    board = grading.board
    if joint is None:
        types = {one.joint_type for one in board.exercise.positions.all()}
        found = grading.criteria_set.for_board(stage, types)
    else:
        found = grading.criteria_set.for_joint(stage, joint.position.joint_type)
    return [one for one in found if not one.alloys or board.alloy in one.alloys]


def as_rule(criterion: Criterion) -> scoring.CriterionRule:
    return scoring.CriterionRule(
        criterion.code, scoring.Severity(criterion.severity), criterion.demerits
    )


def effective_signings(board: Board) -> dict[str, StageSigning]:
    """The signing that counts for each stage: the latest, since a correction comes later."""
    signings = StageSigning.objects.filter(grading__board=board).select_related(
        "grading__criteria_set", "signature"
    )
    return {one.stage: one for one in signings.order_by("signed_at", "id")}


def stages_to_sign(board: Board) -> list[str]:
    signed = set(StageSigning.objects.filter(grading__board=board).values_list("stage", flat=True))
    return [stage.value for stage in board.exercise.stage_list if stage.value not in signed]


def outcomes_by_joint(
    grading: Grading, stage: str | None = None
) -> dict[int | None, dict[str, scoring.Outcome]]:
    """Outcome by criterion code for each joint id; the whole board stands under None."""
    judgements = Judgement.objects.filter(grading=grading)
    if stage is not None:
        judgements = judgements.filter(stage=stage)
    found: dict[int | None, dict[str, scoring.Outcome]] = {}
    for joint, code, outcome in judgements.values_list("joint_id", "criterion__code", "outcome"):
        found.setdefault(joint, {})[code] = scoring.Outcome(outcome)
    return found


@dataclass(frozen=True, slots=True)
class StageSummary:
    """One stage of one grading, joint by joint."""

    joints: tuple[tuple[Joint, scoring.JointResult], ...]
    board: scoring.JointResult | None
    missing: tuple[str, ...]
    open_places: tuple[str, ...]

    @property
    def counts(self) -> dict[str, int]:
        states = [result.state for _joint, result in self.joints]
        return {state.value: states.count(state) for state in scoring.JointState}

    def as_json(self) -> dict:
        return {
            "counts": self.counts,
            "rejected": {
                joint.position.name: [rule.code for rule in result.rejected]
                for joint, result in self.joints
                if result.rejected
            },
            "board_rejected": [rule.code for rule in self.board.rejected] if self.board else [],
        }


def stage_summary(grading: Grading, stage: str) -> StageSummary:
    """Judge every joint at one stage by the judgements there are.

    A spare joint that nobody began to judge is left out; one that was begun must be
    finished like the others.
    """
    joints = joints_that_count(grading.board)
    found = outcomes_by_joint(grading, stage)
    present = {joint.position_id for joint in joints}
    required = grading.board.exercise.positions.filter(required=True)
    missing = tuple(one.name for one in required if one.pk not in present)
    results = []
    open_places = []
    for joint in joints:
        judged = found.get(joint.pk, {})
        if not joint.position.required and not judged:
            continue
        rules = [as_rule(one) for one in criteria_for(grading, stage, joint)]
        result = scoring.joint_result(rules, judged)
        results.append((joint, result))
        open_places += [f"{joint.position.name} {code}" for code in result.open_codes]
    board_rules = [as_rule(one) for one in criteria_for(grading, stage, None)]
    board = scoring.joint_result(board_rules, found.get(None, {})) if board_rules else None
    if board is not None:
        open_places += [f"{WHOLE_BOARD} {code}" for code in board.open_codes]
    return StageSummary(tuple(results), board, missing, tuple(open_places))


def shortened(places: Sequence[str], most: int = 6) -> str:
    shown = ", ".join(places[:most])
    return shown if len(places) <= most else f"{shown} +{len(places) - most}"


def _marked(measurement: Measurement | None) -> dict:
    """The marks that a judgement was made by, as its signature covers them."""
    if measurement is None:
        return {}
    return {
        "measured": {
            "photo": measurement.photo.sha256,
            "quantity": measurement.quantity,
            "marks": measurement.marks,
            "options": measurement.options,
            "mark_uncertainty_px": measurement.mark_uncertainty_px,
            "mm_per_px": measurement.mm_per_px,
            "scale_uncertainty": measurement.scale_uncertainty,
        }
    }


def signed_content(grading: Grading, stage: str, summary: StageSummary) -> dict:
    """What a stage signature covers, in full: change any of it and the hash differs."""
    judgements = Judgement.objects.filter(grading=grading, stage=stage).select_related(
        "joint__position", "criterion", "photo", "tool", "measurement__photo"
    )
    lines = [
        {
            "joint": one.joint.position.name if one.joint else None,
            "make": one.joint.make if one.joint else None,
            "criterion": one.criterion.code,
            "outcome": one.outcome,
            "how": one.how,
            "magnification": None if one.magnification is None else str(one.magnification),
            "photo": one.photo.sha256 if one.photo else None,
            "mark": None if one.mark_x is None else [one.mark_x, one.mark_y],
            "tool": one.tool.code if one.tool else None,
            "value": None if one.value is None else str(one.value),
            "uncertainty": None if one.uncertainty is None else str(one.uncertainty),
            "note": one.note,
            "with_the_rest": one.with_the_rest,
            "judged_at": one.judged_at.isoformat(),
        }
        | _marked(one.measurement)
        for one in judgements
    ]
    lines.sort(key=lambda line: (line["joint"] or "", line["make"] or 0, line["criterion"]))
    return {
        "board": grading.board.number,
        "exercise": [grading.board.exercise.code, grading.board.exercise.revision],
        "person": grading.board.person.employee_number,
        "grading": grading.pk,
        "replaces": grading.replaces_id,
        "reason": grading.reason,
        "stage": stage,
        "criteria_set": str(grading.criteria_set),
        "judgements": lines,
        "result": summary.as_json(),
    }


@dataclass(frozen=True, slots=True)
class JointReading:
    """One joint over every signed stage, or the whole board where there is no joint."""

    joint: Joint | None
    result: scoring.JointResult
    judgements: tuple[Judgement, ...]

    @property
    def rejections(self) -> list[Judgement]:
        return [one for one in self.judgements if one.outcome == Judgement.Outcome.REJECT]


@dataclass(frozen=True, slots=True)
class BoardReading:
    """A board as its signed stages say it is."""

    joints: tuple[JointReading, ...]
    spare: tuple[JointReading, ...]
    board: JointReading | None
    result: scoring.BoardResult
    signings: dict[str, StageSigning]


class _Sheet:
    """A board, its signings, and the rules that its joints are judged by.

    Stages that are not signed leave their criteria open, so joints stay open until every
    stage asked for is signed.
    """

    def __init__(self, board: Board) -> None:
        self.board = board
        self.positions = list(board.exercise.positions.all())
        self.signings = effective_signings(board)
        self.joints = joints_that_count(board)
        self._rules: dict[str | None, list[scoring.CriterionRule]] = {}
        self._sets: dict[int, CriteriaSet] = {}

    def judgements(self) -> models.QuerySet[Judgement]:
        """The judgements under the signings that count."""
        counted = models.Q(pk__in=[])
        for stage, one in self.signings.items():
            counted |= models.Q(grading=one.grading_id, stage=stage)
        return Judgement.objects.filter(counted)

    def rules(self, joint_type: str | None) -> list[scoring.CriterionRule]:
        """The criteria asked of a kind of joint over all stages; of the board for None."""
        if joint_type not in self._rules:
            found = []
            for stage in self.board.exercise.stages:
                if stage not in self.signings:
                    # A stand-in that nobody can have judged keeps the joint open.
                    found.append(scoring.CriterionRule(f"{stage}:", scoring.Severity.MINOR, 0))
                else:
                    found += [as_rule(one) for one in self._asked(stage, joint_type)]
            self._rules[joint_type] = found
        return self._rules[joint_type]

    def _asked(self, stage: str, joint_type: str | None) -> list[Criterion]:
        own = self.signings[stage].grading.criteria_set
        criteria_set = self._sets.setdefault(own.pk, own)
        types = {one.joint_type for one in self.positions}
        asked = (
            criteria_set.for_board(stage, types)
            if joint_type is None
            else criteria_set.for_joint(stage, joint_type)
        )
        return [one for one in asked if not one.alloys or self.board.alloy in one.alloys]

    def result(
        self, said: Mapping[int | None, Mapping[str, scoring.Outcome]]
    ) -> scoring.BoardResult:
        """Add the board up from the outcomes by joint id and criterion code."""
        exercise = self.board.exercise
        return scoring.board_result(
            rule=scoring.PassRule(
                joints_required=sum(one.required for one in self.positions),
                allowed_rejects=exercise.allowed_rejects,
                pass_mark=exercise.pass_mark,
                stages=tuple(exercise.stages),
            ),
            joints=[
                scoring.joint_result(self.rules(one.position.joint_type), said.get(one.pk, {}))
                for one in self.joints
                if one.position.required
            ],
            board=scoring.joint_result(self.rules(None), said.get(None, {}))
            if self.rules(None)
            else None,
            stages_signed=self.signings,
        )


def read_board(board: Board) -> BoardReading:
    """Read a board from the signings that count, every judgement with its criterion."""
    sheet = _Sheet(board)
    by_joint: dict[int | None, list[Judgement]] = {}
    for one in (
        sheet.judgements()
        .select_related(
            "criterion", "photo", "tool", "measurement__photo", "grading__grader__person"
        )
        .order_by("criterion__order")
    ):
        by_joint.setdefault(one.joint_id, []).append(one)
    said = {
        joint: {one.criterion.code: scoring.Outcome(one.outcome) for one in found}
        for joint, found in by_joint.items()
    }

    def reading(joint: Joint | None) -> JointReading:
        joint_id = joint.pk if joint else None
        asked = sheet.rules(joint.position.joint_type if joint else None)
        return JointReading(
            joint,
            scoring.joint_result(asked, said.get(joint_id, {})),
            tuple(by_joint.get(joint_id, ())),
        )

    return BoardReading(
        joints=tuple(reading(one) for one in sheet.joints if one.position.required),
        spare=tuple(
            reading(one) for one in sheet.joints if not one.position.required and one.pk in by_joint
        ),
        board=reading(None) if sheet.rules(None) else None,
        result=sheet.result(said),
        signings=sheet.signings,
    )


def result_of(board: Board) -> scoring.BoardResult:
    """Add a board up without reading its judgements in full."""
    sheet = _Sheet(board)
    said: dict[int | None, dict[str, scoring.Outcome]] = {}
    for joint, code, outcome in sheet.judgements().values_list(
        "joint_id", "criterion__code", "outcome"
    ):
        said.setdefault(joint, {})[code] = scoring.Outcome(outcome)
    return sheet.result(said)


@dataclass(frozen=True, slots=True)
class Comparison:
    """A trainee's own reading beside the counted one, where both judged."""

    both: int
    same: int
    differ: tuple[tuple[Judgement, Judgement], ...]


def compare_with_own(reading: BoardReading, own: Grading) -> Comparison:
    counted = {
        (one.joint_id, one.criterion.code): one
        for part in (*reading.joints, *reading.spare, *([reading.board] if reading.board else []))
        for one in part.judgements
    }
    both = same = 0
    differ = []
    given = own.judgements.select_related("joint__position", "criterion").order_by(
        models.F("joint__position__order").asc(nulls_last=True), "criterion__order"
    )
    for mine in given:
        theirs = counted.get((mine.joint_id, mine.criterion.code))
        if theirs is None:
            continue
        both += 1
        if mine.outcome == theirs.outcome:
            same += 1
        else:
            differ.append((mine, theirs))
    return Comparison(both, same, tuple(differ))


def refresh_outcome(board: Board, at: datetime) -> BoardOutcome:
    """Write a board's outcome anew from its signed stages."""
    result = result_of(board)
    outcome, _created = BoardOutcome.objects.update_or_create(
        board=board,
        defaults={
            "complete": result.complete,
            "passed": result.passed,
            "score": None if result.score is None else _six_places(result.score),
            "joints_judged": result.joints_judged,
            "joints_rejected": result.joints_rejected,
            "critical_rejections": result.critical_rejections,
            "reasons": [
                {"rule": one.rule, "met": one.met, "value": one.value, "asked": one.asked}
                for one in result.lines
            ],
            "decided_at": at if result.complete else None,
        },
    )
    return outcome


def _six_places(score: Fraction) -> Decimal:
    """For sorting and showing; the pass itself was decided on the exact fraction."""
    return Decimal(score.numerator * 1_000_000 // score.denominator) / 1_000_000
