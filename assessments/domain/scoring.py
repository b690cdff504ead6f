"""From judgements to a board's result.

Plain rules, exact numbers: scores are fractions until they are shown, so that rounding
never decides a pass.
"""

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from enum import StrEnum
from fractions import Fraction


class Outcome(StrEnum):
    ACCEPT = "accept"
    REJECT = "reject"
    NOT_APPLICABLE = "not_applicable"


class Severity(StrEnum):
    CRITICAL = "critical"
    MAJOR = "major"
    MINOR = "minor"


class JointState(StrEnum):
    OPEN = "open"
    ACCEPTED = "accepted"
    REMARKS = "accepted_with_remarks"
    REJECTED = "rejected"


class NoJointsJudged(ValueError):
    """A score was asked for a board on which a required joint is missing or open."""


@dataclass(frozen=True, slots=True)
class CriterionRule:
    """What the scoring needs to know of a criterion: how bad a reject is, and its cost."""

    code: str
    severity: Severity
    demerits: int


@dataclass(frozen=True, slots=True)
class JointResult:
    """One joint under every criterion that applies to it.

    Attributes
    ----------
    state : JointState
    score : Fraction
        0 to 100; of an open joint, what its judgements so far leave.
    rejected : tuple of CriterionRule
        In the order of the criteria given.
    open_codes : tuple of str
        Criteria that still want a judgement.
    """

    state: JointState
    score: Fraction
    rejected: tuple[CriterionRule, ...]
    open_codes: tuple[str, ...]


def joint_result(
    criteria: Sequence[CriterionRule], judgements: Mapping[str, Outcome]
) -> JointResult:
    """Judge a joint by its judgements.

    Parameters
    ----------
    criteria : sequence of CriterionRule
        Every criterion that applies to the joint, over all stages looked at.
    judgements : mapping of criterion code to Outcome
        A criterion without an entry is unjudged. Codes outside `criteria` are ignored.

    Returns
    -------
    JointResult
        Open while a criterion is unjudged; rejected if a critical or major one is
        rejected; accepted with remarks if only minor ones are; else accepted.

    Examples
    --------
    >>> wrap = CriterionRule("W1", Severity.CRITICAL, 30)
    >>> clean = CriterionRule("C1", Severity.MINOR, 5)
    >>> joint_result([wrap, clean], {"W1": Outcome.ACCEPT, "C1": Outcome.REJECT}).state.value
    'accepted_with_remarks'
    """
    rejected = tuple(rule for rule in criteria if judgements.get(rule.code) == Outcome.REJECT)
    open_codes = tuple(rule.code for rule in criteria if rule.code not in judgements)
    score = max(Fraction(0), Fraction(100 - sum(rule.demerits for rule in rejected)))
    if open_codes:
        state = JointState.OPEN
    elif any(rule.severity != Severity.MINOR for rule in rejected):
        state = JointState.REJECTED
    elif rejected:
        state = JointState.REMARKS
    else:
        state = JointState.ACCEPTED
    return JointResult(state, score, rejected, open_codes)


def board_score(
    joint_scores: Iterable[Fraction], *, joints_required: int, board_demerits: int
) -> Fraction:
    """The mean over the joints required, less the board's own demerits, not below 0.

    Parameters
    ----------
    joint_scores : iterable of Fraction
        One score, 0 to 100, for each required joint that was made.
    joints_required : int
        How many the exercise asks for.
    board_demerits : int
        Demerits of the rejected criteria of the whole board.

    Raises
    ------
    NoJointsJudged
        If the exercise asks for none, or one of those asked for is missing.
    """
    scores = list(joint_scores)
    if joints_required < 1 or len(scores) < joints_required:
        raise NoJointsJudged(f"{len(scores)} of {joints_required} required joints are judged.")
    return max(Fraction(0), sum(scores, Fraction(0)) / len(scores) - board_demerits)


def shown_score(score: Fraction) -> Decimal:
    """A score for reading, rounded down to one decimal: 79.95 never shows as 80.0.

    Examples
    --------
    >>> str(shown_score(Fraction(7995, 100)))
    '79.9'
    """
    tenths = score.numerator * 10 // score.denominator
    return (Decimal(tenths) / 10).quantize(Decimal("0.1"), rounding=ROUND_FLOOR)


@dataclass(frozen=True, slots=True)
class PassRule:
    """What an exercise asks of a board."""

    joints_required: int
    allowed_rejects: int
    pass_mark: Decimal
    stages: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RuleLine:
    """One rule with its figures, and whether the board meets it."""

    rule: str
    met: bool
    value: str
    asked: str


@dataclass(frozen=True, slots=True)
class BoardResult:
    """Everything a board adds up to.

    `score` is None where a required joint is missing, or it or the board itself has open
    criteria; `passed` is None until every stage asked for is signed.
    """

    score: Fraction | None
    joints_judged: int
    joints_rejected: int
    critical_rejections: int
    complete: bool
    passed: bool | None
    lines: tuple[RuleLine, ...]


def board_result(
    *,
    rule: PassRule,
    joints: Sequence[JointResult],
    board: JointResult | None,
    stages_signed: Iterable[str],
) -> BoardResult:
    """Add up a board.

    Parameters
    ----------
    rule : PassRule
    joints : sequence of JointResult
        The required joints that were made, each at the make that counts. Spare joints
        are not among them.
    board : JointResult or None
        The criteria of the whole board, judged like a joint's; None where there are none.
    stages_signed : iterable of str

    Returns
    -------
    BoardResult
        It passes when every stage asked for is signed, every required joint is there and
        judged, no criterion of the board itself is open, nothing critical is rejected (of a
        joint or of the board), at most `allowed_rejects` joints are rejected, and the exact
        score reaches the pass mark.
    """
    signed = set(stages_signed)
    missing_stages = [stage for stage in rule.stages if stage not in signed]
    judged = [joint for joint in joints if joint.state != JointState.OPEN]
    rejected = sum(joint.state == JointState.REJECTED for joint in judged)
    everything = [*joints, *([board] if board else [])]
    critical = sum(
        any(failed.severity == Severity.CRITICAL for failed in part.rejected) for part in everything
    )
    demerits = sum(failed.demerits for failed in board.rejected) if board else 0
    open_of_board = len(board.open_codes) if board else 0
    score = None
    if not open_of_board:  # What they would cost is not known.
        with suppress(NoJointsJudged):
            score = board_score(
                (joint.score for joint in judged),
                joints_required=rule.joints_required,
                board_demerits=demerits,
            )
    complete = not missing_stages
    # Cross-multiplied integers: a Decimal mark against an exact fraction.
    enough = score is not None and score >= Fraction(rule.pass_mark)
    lines = (
        RuleLine(
            "stages_signed",
            complete,
            str(len(rule.stages) - len(missing_stages)),
            str(len(rule.stages)),
        ),
        RuleLine(
            "joints_present",
            len(judged) >= rule.joints_required > 0,
            str(len(judged)),
            str(rule.joints_required),
        ),
        *([RuleLine("board_judged", open_of_board == 0, str(open_of_board), "0")] if board else []),
        RuleLine("no_critical_rejection", critical == 0, str(critical), "0"),
        RuleLine(
            "rejects_allowed",
            rejected <= rule.allowed_rejects,
            str(rejected),
            str(rule.allowed_rejects),
        ),
        RuleLine(
            "score_reached",
            enough,
            "" if score is None else str(shown_score(score)),
            f"{rule.pass_mark.normalize():f}",
        ),
    )
    passed = all(line.met for line in lines) if complete else None
    return BoardResult(score, len(judged), rejected, critical, complete, passed, lines)
