"""Boards and papers that were corrected or read again, and are no pass as they stand now."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, Max, OuterRef

from assessments.models import Board, Grading, PaperResult, ReadingRequest


@dataclass(frozen=True, slots=True)
class NoPass:
    """A board, or a paper of a written test, that is no pass since its result was corrected."""

    number: str
    person_id: int
    since: datetime
    is_paper: bool = False


def no_pass_since_corrected(person_ids: Collection[int] | None = None) -> list[NoPass]:
    """Whatever is no pass by a result that took the place of an earlier one; of all, or of some.

    Whether the earlier one was a pass is not asked: a certificate that names it says so.
    """
    corrected = Grading.objects.filter(replaces__isnull=False).order_by().values("board")
    read_again = ReadingRequest.objects.filter(answered_at__isnull=False).order_by().values("board")
    boards = Board.objects.filter(pk__in=corrected.union(read_again)).exclude(
        outcome__complete=True, outcome__passed=True
    )
    later = PaperResult.objects.filter(paper=OuterRef("paper"), round__gt=OuterRef("round"))
    # Every further result is signed, and an index knows these.
    results = PaperResult.objects.filter(
        ~Exists(later), round__gt=1, signature__isnull=False, passed=False
    )
    if person_ids is not None:
        boards = boards.filter(person__in=person_ids)
        results = results.filter(paper__person__in=person_ids)
    signed = boards.order_by().annotate(since=Max("gradings__signings__signed_at"))
    return [
        NoPass(number, person_id, since)
        for number, person_id, since in signed.values_list("number", "person", "since")
        if since is not None
    ] + [
        NoPass(number, person_id, since, is_paper=True)
        for number, person_id, since in results.order_by().values_list(
            "paper__number", "paper__person", "recorded_at"
        )
    ]
