"""Writing down what the signed judgements of a board add up to."""

from datetime import datetime
from decimal import Decimal
from fractions import Fraction

from assessments.models import Board, BoardOutcome
from assessments.queries import board_results
from assessments.queries.effective_judgements import Makes


def refresh_outcome(board: Board, at: datetime, makes: Makes | None = None) -> BoardOutcome:
    """Write a board's outcome anew from its signed stages."""
    result = board_results.result_of(board, makes)
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
                {"rule": line.rule, "met": line.met, "value": line.value, "asked": line.asked}
                for line in result.lines
            ],
            "decided_at": at if result.complete else None,
        },
    )
    return outcome


def _six_places(score: Fraction) -> Decimal:
    """For sorting and showing; the pass itself was decided on the exact fraction."""
    return Decimal(score.numerator * 1_000_000 // score.denominator) / 1_000_000
