"""The day on which boards were judged to the end, of many boards at once."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime

from assessments.models import Board, Grading, StageSigning
from assessments.queries import effective_judgements


def signings_of(board_ids: Collection[int]) -> Mapping[int, list[StageSigning]]:
    """Every signing on each of some boards, oldest first; of none an empty list."""
    signings: dict[int, list[StageSigning]] = {pk: [] for pk in board_ids}
    for signing in (
        StageSigning.objects.filter(grading__board__in=board_ids)
        .select_related("grading__criteria_set", "signature")
        .order_by("signed_at", "id")
    ):
        signings[signing.grading.board_id].append(signing)
    return signings


def judged_at(board: Board, signings: Sequence[StageSigning]) -> datetime | None:
    """When the last signature came that a board's result waited for, of its signings.

    A correction or another reading made later does not make the work younger.
    """
    first = [
        at
        for reading in effective_judgements.signed_readings(signings, board.exercise.graders)
        if reading.kind != Grading.Kind.ANOTHER
        for at in reading.first_signed.values()
    ]
    return max(first, default=board.outcome.decided_at)
