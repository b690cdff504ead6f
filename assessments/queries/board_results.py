"""What the judgements of a board add up to: for signing, for showing, for the list."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import models

from assessments.domain import readings, scoring
from assessments.models import (
    Board,
    Criterion,
    Grading,
    Joint,
    Judgement,
    Measurement,
    StageSigning,
)

from . import effective_judgements
from .effective_judgements import as_rule

WHOLE_BOARD = "board"


def joints_that_count(board: Board) -> list[Joint]:
    """The make of each position that counts, in the order of the board."""
    return effective_judgements.counted_of(
        effective_judgements.makes_of(board), board.exercise.rework_allowed
    )


def joints_read(
    grading: Grading, stage: str, makes: effective_judgements.Makes | None = None
) -> list[Joint]:
    """The makes that a reading is asked to judge at a stage.

    An inspection of rework reads the makes that were handed in and that nobody has signed for
    yet (of two graders: fewer than two). Once a stage of it is signed, it reads at the others
    what it was signed for, so that what is sent back meanwhile gets a whole inspection of its
    own. A correction reads what it corrects; any other reading the makes that count.

    Parameters
    ----------
    makes : Makes, optional
        Every make on the board, where they have been read already.
    """
    board = grading.board
    makes = effective_judgements.makes_of(board) if makes is None else makes
    counted = effective_judgements.counted_of(makes, board.exercise.rework_allowed)
    if all(joint.make == 1 for joint in makes):
        return counted if grading.kind != Grading.Kind.REWORK else []
    if grading.kind == Grading.Kind.REWORK:
        return _joints_inspected(grading, stage, makes, counted)
    if grading.replaces_id is not None:
        return _joints_corrected(grading, stage, makes, counted)
    return counted


def _joints_corrected(
    grading: Grading, stage: str, makes: effective_judgements.Makes, counted: list[Joint]
) -> list[Joint]:
    known = makes.what_was_judged(grading.board)
    first = known.first_signed(stage)
    if grading.kind == Grading.Kind.FIRST and not first:
        return counted
    given = {grading.pk}
    if grading.kind == Grading.Kind.FIRST and grading.board.exercise.graders == 1:
        # One reading, whoever signed which stage of it: a stage of somebody else's may be open
        # in a correction, which then reads what they read.
        given |= first
    judged = known.joints_in(given, stage)
    last = {joint.position_id: joint for joint in makes if joint.pk in judged}
    return [last.get(joint.position_id, joint) for joint in counted]


def _joints_inspected(
    grading: Grading, stage: str, makes: effective_judgements.Makes, counted: list[Joint]
) -> list[Joint]:
    board = grading.board
    known = makes.what_was_judged(board)
    remade = {joint.pk for joint in makes if joint.make > 1}
    root = effective_judgements.root_of(grading.pk, known.replaces) if grading.pk else None
    here: dict[str, set[int]] = {}
    others: dict[int, dict[int, set[int]]] = {}
    for pk, at_stage, joint in known.judgements:
        if joint not in remade or (pk, at_stage) not in known.signed:
            continue
        reading = effective_judgements.root_of(pk, known.replaces)
        if reading == root:
            here.setdefault(at_stage, set()).add(joint)
        elif at_stage == stage or board.exercise.graders > 1:
            # Of two graders each inspects a make at every stage: who has signed one holds a seat.
            signers = others.setdefault(joint, {}).setdefault(reading, set())
            signers.add(known.graders[pk])
    if stage in here:
        return [joint for joint in makes if joint.pk in here[stage]]
    if not known.first_signed(stage):
        return []
    if here:
        asked = set().union(*here.values())
    else:
        asked = {joint.pk for joint in counted if joint.make > 1}
        if grading.pk:
            asked -= known.out
    return [
        joint
        for joint in counted
        if joint.pk in asked
        and joint.position.required
        and len(others.get(joint.pk, {})) < board.exercise.graders
        and not any(grading.grader_id in graders for graders in others.get(joint.pk, {}).values())
        and criteria_for(grading, stage, joint)
    ]


def judgements_left(
    grading: Grading, stage: str, makes: effective_judgements.Makes | None = None
) -> models.QuerySet[Judgement]:
    """Judgements of a stage that the reading is not asked for any more.

    The joint was made again before the stage was signed, or somebody else signed for it: no
    signature of this reading covers them.
    """
    asked = [joint.pk for joint in joints_read(grading, stage, makes)]
    given = Judgement.objects.filter(grading=grading, stage=stage, joint__isnull=False)
    return given.exclude(joint__in=asked)


def criteria_for(grading: Grading, stage: str, joint: Joint | None) -> list[Criterion]:
    """The criteria asked of a joint (or of the whole board) at a stage of this grading."""
    board = grading.board
    if joint is None:
        types = {position.joint_type for position in board.exercise.positions.all()}
        criteria = grading.criteria_set.for_board(stage, types)
    else:
        criteria = grading.criteria_set.for_joint(stage, joint.position.joint_type)
    return [
        criterion
        for criterion in criteria
        if not criterion.alloys or board.alloy in criterion.alloys
    ]


def outcomes_by_joint(
    grading: Grading, stage: str | None = None
) -> dict[int | None, dict[str, scoring.Outcome]]:
    """Outcome by criterion code for each joint id; the whole board stands under None."""
    judgements = Judgement.objects.filter(grading=grading)
    if stage is not None:
        judgements = judgements.filter(stage=stage)
    outcomes: dict[int | None, dict[str, scoring.Outcome]] = {}
    for joint, code, outcome in judgements.values_list("joint_id", "criterion__code", "outcome"):
        outcomes.setdefault(joint, {})[code] = scoring.Outcome(outcome)
    return outcomes


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


def stage_summary(
    grading: Grading, stage: str, makes: effective_judgements.Makes | None = None
) -> StageSummary:
    """Judge every joint at one stage by the judgements there are.

    A spare joint that nobody began to judge is left out; one that was begun must be
    finished like the others.

    Parameters
    ----------
    makes : Makes, optional
        Every make on the board, where they have been read already.
    """
    makes = effective_judgements.makes_of(grading.board) if makes is None else makes
    joints = joints_read(grading, stage, makes)
    outcomes = outcomes_by_joint(grading, stage)
    present = {joint.position_id for joint in makes}
    missing = tuple(
        position.name
        for position in grading.board.exercise.positions.all()
        if position.required and position.pk not in present
    )
    results = []
    open_places = []
    for joint in joints:
        judged = outcomes.get(joint.pk, {})
        if not joint.position.required and not judged:
            continue
        rules = [as_rule(criterion) for criterion in criteria_for(grading, stage, joint)]
        result = scoring.joint_result(rules, judged)
        results.append((joint, result))
        open_places += [f"{joint.position.name} {code}" for code in result.open_codes]
    # What is reworked is joints: the whole board was judged before.
    of_board = grading.kind != Grading.Kind.REWORK
    board_rules = [
        as_rule(criterion) for criterion in criteria_for(grading, stage, None) if of_board
    ]
    board = scoring.joint_result(board_rules, outcomes.get(None, {})) if board_rules else None
    if board is not None:
        open_places += [f"{WHOLE_BOARD} {code}" for code in board.open_codes]
    return StageSummary(tuple(results), board, missing, tuple(open_places))


def shortened(places: Sequence[str], most: int = 6) -> str:
    shown = ", ".join(places[:most])
    return shown if len(places) <= most else f"{shown} +{len(places) - most}"


def _marked(measurement: Measurement | None, repeated: dict) -> dict:
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
    } | ({"repeats": repeated} if repeated else {})


def judgements_to_sign(**of: Any) -> models.QuerySet[Judgement]:
    """Judgements with all that a stage signature covers of them."""
    return Judgement.objects.filter(**of).select_related(
        "joint__position", "criterion", "photo", "tool", "measurement__photo"
    )


def judgements_signed(**of: Any) -> models.QuerySet[Judgement]:
    """The same for whoever only writes down what is signed: no more of each row than that."""
    return judgements_to_sign(**of).only(
        "grading",
        "stage",
        "joint__make",
        "joint__position__name",
        "criterion__code",
        "outcome",
        "how",
        "magnification",
        "photo__sha256",
        "mark_x",
        "mark_y",
        "tool__code",
        "value",
        "uncertainty",
        "note",
        "with_the_rest",
        "judged_at",
        "by_eye_because",
        "repeats",
        "measurement__photo__sha256",
        "measurement__quantity",
        "measurement__marks",
        "measurement__options",
        "measurement__mark_uncertainty_px",
        "measurement__mm_per_px",
        "measurement__scale_uncertainty",
    )


def signed_content(signing: StageSigning, judgements: Iterable[Judgement] | None = None) -> dict:
    """What a stage signature covers, in full: change any of it and the hash differs.

    Parameters
    ----------
    signing : StageSigning
        Its signature is not looked at, and need not be there yet.
    judgements : iterable of Judgement, optional
        Those of the stage, where they have been read already by `judgements_to_sign`.
    """
    grading, stage = signing.grading, signing.stage
    if judgements is None:
        judgements = judgements_signed(grading=grading, stage=stage)
    lines = [_signed_line(judgement) for judgement in judgements]
    lines.sort(key=lambda line: (line["joint"] or "", line["make"] or 0, line["criterion"]))
    return {
        "board": grading.board.number,
        "exercise": [grading.board.exercise.code, grading.board.exercise.revision],
        "person": grading.board.person.employee_number,
        "person_id": grading.board.person_id,
        "grading": grading.pk,
        "grader": grading.grader_id,
        "kind": str(grading.kind),
        "begun_at": grading.recorded_at,
        "replaces": grading.replaces_id,
        "reason": grading.reason,
        "stage": str(stage),
        "signed_at": signing.signed_at,
        "criteria_set": str(grading.criteria_set),
        "judgements": lines,
        "result": signing.result,
    }


def _signed_line(judgement: Judgement) -> dict[str, Any]:
    return {
        "joint": judgement.joint.position.name if judgement.joint else None,
        "make": judgement.joint.make if judgement.joint else None,
        "criterion": judgement.criterion.code,
        "outcome": judgement.outcome,
        "how": judgement.how,
        "magnification": None if judgement.magnification is None else str(judgement.magnification),
        "photo": judgement.photo.sha256 if judgement.photo else None,
        "mark": None if judgement.mark_x is None else [judgement.mark_x, judgement.mark_y],
        "tool": judgement.tool.code if judgement.tool else None,
        "value": None if judgement.value is None else str(judgement.value),
        "uncertainty": None if judgement.uncertainty is None else str(judgement.uncertainty),
        "note": judgement.note,
        "with_the_rest": judgement.with_the_rest,
        "judged_at": judgement.judged_at.isoformat(),
        # Judgements of before reasons were asked for were signed without them.
        **({"by_eye_because": judgement.by_eye_because} if judgement.by_eye_because else {}),
    } | _marked(judgement.measurement, judgement.repeats)


@dataclass(frozen=True, slots=True)
class JudgedJoint:
    """One joint over every signed stage, or the whole board where there is no joint."""

    joint: Joint | None
    result: scoring.JointResult
    judgements: tuple[Judgement, ...]

    @property
    def rejections(self) -> list[Judgement]:
        return [
            judgement
            for judgement in self.judgements
            if judgement.outcome == Judgement.Outcome.REJECT
        ]

    @property
    def state_for_statistics(self) -> scoring.JointState:
        """How this make went, though it may have been made again before it was finished."""
        return readings.state_for_statistics(self.result)


@dataclass(frozen=True, slots=True)
class JudgedBoard:
    """A board as its signed stages say it is.

    ``undecided`` holds the places on which two graders differ and a third has still to decide.
    """

    joints: tuple[JudgedJoint, ...]
    spare: tuple[JudgedJoint, ...]
    board: JudgedJoint | None
    result: scoring.BoardResult
    signings: dict[str, StageSigning]
    counting: tuple[StageSigning, ...] = ()
    earlier: tuple[JudgedJoint, ...] = ()
    undecided: tuple[effective_judgements.Place, ...] = ()

    def signings_of(self, stage: str) -> list[StageSigning]:
        """The signings of a stage that the result rests on, oldest first."""
        return sorted(
            (signing for signing in self.counting if signing.stage == stage),
            key=lambda signing: signing.signed_at,
        )

    @property
    def first_makes(self) -> list[JudgedJoint]:
        """The first make of every required joint, which is what statistics are fed with."""
        joints = [
            joint
            for joint in (*self.earlier, *self.joints)
            if joint.joint and joint.joint.make == 1
        ]
        return sorted(joints, key=lambda joint: joint.joint.position.order if joint.joint else 0)


def read_board(board: Board) -> JudgedBoard:
    """Read a board from the signings that count, every judgement with its criterion.

    Where two graders are asked for, nothing of either is in it before both have signed and
    what they differ on is decided.
    """
    signed_board = effective_judgements.SignedBoard(board)
    return _judged(signed_board, list(_in_full(signed_board.judgements())))


def read_boards(boards: Sequence[Board]) -> dict[int, JudgedBoard]:
    """The same of many boards, by key, by five queries however many they are.

    The exercises of the boards bring their positions along.
    """
    signed = effective_judgements.signed_boards(boards)
    judgements = _in_full(effective_judgements.judgements_on(signed))
    rows = effective_judgements.rows_that_may_count(signed, judgements)
    return {key: _judged(signed_board, rows[key]) for key, signed_board in signed.items()}


def _in_full(judgements: models.QuerySet[Judgement]) -> models.QuerySet[Judgement]:
    return judgements.select_related(
        "criterion", "photo", "tool", "measurement__photo", "grading__grader__person"
    ).order_by("criterion__order")


def _judged(
    signed_board: effective_judgements.SignedBoard, rows: Sequence[Judgement]
) -> JudgedBoard:
    effective = effective_judgements.effective_judgements(signed_board, rows)
    by_joint: dict[int | None, dict[str, Judgement]] = {}
    in_order = sorted(effective.by_place.items(), key=lambda item: item[1].criterion.order)
    for (joint_id, code), row in in_order:
        by_joint.setdefault(joint_id, {})[code] = row

    def reading(joint: Joint | None) -> JudgedJoint:
        judgements = by_joint.get(joint.pk if joint else None, {})
        rules = effective.rules[joint.position.joint_type if joint else None]
        outcomes = {code: scoring.Outcome(row.outcome) for code, row in judgements.items()}
        return JudgedJoint(joint, scoring.joint_result(rules, outcomes), tuple(judgements.values()))

    joints, makes = signed_board.joints, signed_board.makes
    return JudgedBoard(
        joints=tuple(reading(joint) for joint in joints if joint.position.required),
        spare=tuple(
            reading(joint)
            for joint in joints
            if not joint.position.required and joint.pk in by_joint
        ),
        board=reading(None) if effective.rules[None] else None,
        result=effective.result(),
        signings=dict(effective.signings),
        counting=tuple(effective.counting),
        earlier=tuple(
            reading(joint) for joint in makes if joint not in joints and joint.position.required
        ),
        undecided=effective.undecided,
    )


def result_of(board: Board, makes: effective_judgements.Makes | None = None) -> scoring.BoardResult:
    """Add a board up without reading its judgements in full."""
    signed_board = effective_judgements.SignedBoard(board, makes)
    rows = signed_board.judgements().values_list(
        "grading_id", "joint_id", "criterion__code", "outcome", named=True
    )
    return effective_judgements.effective_judgements(signed_board, rows).result()


@dataclass(frozen=True, slots=True)
class OwnReadingComparison:
    """A trainee's own reading beside the counted one, where both judged."""

    both: int
    same: int
    differ: tuple[tuple[Judgement, Judgement], ...]


def compare_with_own(reading: JudgedBoard, own: Grading) -> OwnReadingComparison:
    counted = {
        (judgement.joint_id, judgement.criterion.code): judgement
        for part in (*reading.joints, *reading.spare, *([reading.board] if reading.board else []))
        for judgement in part.judgements
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
    return OwnReadingComparison(both, same, tuple(differ))
