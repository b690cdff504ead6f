"""What a draft's limits would have made of the joints measured under the revision before."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Exists, OuterRef

from assessments.domain.limit_effect import LimitEffect, MeasuredJoint, limit_effect
from assessments.domain.scoring import Outcome
from assessments.models import Board, Criterion, Grading, Judgement, StageSigning
from training.models import Position

from . import effective_judgements

MOST_JUDGEMENTS = 20_000
"""Signed judgements that are looked at, the latest; a page is to come in a second or two."""
MOST_BOARDS = 300
"""Boards that are added up anew; each is read whole."""


@dataclass(frozen=True, slots=True)
class EffectOnRecords:
    """Joints and boards that a draft's limits would have judged otherwise.

    Attributes
    ----------
    effect : LimitEffect
    values : tuple of (Decimal, int)
        Each measured value in the unit of the draft, with the key of its judgement.
    not_converted : int
        Joints measured in another unit whose position names no diameter to convert by.
    is_cut : bool
        Whether there were more judgements than are looked at: then the latest were.
    boards : int
        Boards with a joint that would be judged otherwise.
    boards_read : int
        How many of them were added up anew.
    would_fail, would_pass : tuple of str
        Numbers of boards whose outcome turns.
    """

    effect: LimitEffect
    values: tuple[tuple[Decimal, int], ...]
    not_converted: int
    is_cut: bool
    boards: int
    boards_read: int
    would_fail: tuple[str, ...]
    would_pass: tuple[str, ...]


def effect_of(criterion: Criterion, earlier: Criterion) -> EffectOnRecords:
    """Judge every joint measured under the earlier criterion by the limits of the later.

    What counts is the last signed judgement of each joint that has a value: kept measurements
    and what instruments showed, each with its uncertainty. Boards are added up as results are,
    with nothing else changed. What was signed stays as it is.
    """
    rows = _last_of_each_joint(earlier)
    joints, skipped = [], 0
    by_key: dict[int, Judgement] = {}
    for row in rows:
        factor = _factor(earlier.unit, criterion.unit, row.joint.position if row.joint else None)
        if factor is None:
            skipped += 1
            continue
        by_key[row.pk] = row
        value = row.value if row.value is not None else Decimal(0)
        joints.append(
            MeasuredJoint(
                row.pk,
                value * factor,
                (row.uncertainty or Decimal(0)) * factor,
                Outcome(row.outcome),
            )
        )
    effect = limit_effect(joints, criterion.low, criterion.high)
    otherwise = {
        (by_key[key].joint_id, by_key[key].grading.board_id): outcome
        for key, outcome in effect.judged_otherwise.items()
    }
    boards = sorted({board for _joint, board in otherwise})
    read = boards[:MOST_BOARDS]
    would_fail, would_pass = [], []
    for board in Board.objects.filter(pk__in=read).select_related("exercise", "site", "person"):
        turned = {joint: outcome for (joint, of), outcome in otherwise.items() if of == board.pk}
        before, after = _passes(board, criterion.code, turned)
        if before is True and after is False:
            would_fail.append(board.number)
        elif before is False and after is True:
            would_pass.append(board.number)
    return EffectOnRecords(
        effect=effect,
        values=tuple((joint.value, joint.key) for joint in joints),
        not_converted=skipped,
        is_cut=len(rows) >= MOST_JUDGEMENTS,
        boards=len(boards),
        boards_read=len(read),
        would_fail=tuple(sorted(would_fail)),
        would_pass=tuple(sorted(would_pass)),
    )


def _last_of_each_joint(earlier: Criterion) -> list[Judgement]:
    """The last signed judgement with a value of each joint, corrected ones left out."""
    signing = StageSigning.objects.filter(grading=OuterRef("grading"), stage=OuterRef("stage"))
    rows: Iterable[Judgement] = (
        Judgement.objects.filter(
            Exists(signing),
            criterion=earlier,
            value__isnull=False,
            outcome__in=(Judgement.Outcome.ACCEPT, Judgement.Outcome.REJECT),
            grading__replaced_by__isnull=True,
        )
        .exclude(grading__kind=Grading.Kind.OWN)
        .select_related("grading", "joint__position")
        .order_by("-judged_at", "-pk")[:MOST_JUDGEMENTS]
    )
    last: dict[int | None, Judgement] = {}
    for row in rows:
        last.setdefault(row.joint_id, row)
    return list(last.values())


def _factor(old: str, new: str, position: Position | None) -> Decimal | None:
    """What a value in one unit is multiplied by for another; None where it cannot be told."""
    if old == new:
        return Decimal(1)
    lengths = {
        "mm": Decimal(1),
        "d": position.conductor_mm if position else None,
        "D": position.overall_mm if position else None,
    }
    mm, per = lengths.get(old), lengths.get(new)
    return mm / per if mm and per else None


def _passes(
    board: Board, code: str, turned: dict[int | None, Outcome]
) -> tuple[bool | None, bool | None]:
    """Whether a board passes as it was judged, and with these joints judged otherwise."""
    signed_board = effective_judgements.SignedBoard(board)
    rows = signed_board.judgements().values_list(
        "grading_id", "joint_id", "criterion__code", "outcome", named=True
    )
    effective = effective_judgements.effective_judgements(signed_board, rows)
    before = effective.result().passed
    changed = {
        place: row._replace(outcome=turned[place[0]].value)
        if place[1] == code and place[0] in turned
        else row
        for place, row in effective.by_place.items()
    }
    after = effective_judgements.EffectiveJudgements(
        effective.board, changed, effective.undecided, effective.signings, effective.rules
    ).result()
    return before, after.passed
