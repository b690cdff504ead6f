"""What one grader has judged on many boards and not signed yet, stage by stage."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Q

from assessments.models import Grading, Judgement
from assessments.models.boards import BoardQuerySet
from people.models import User
from training.models import Stage

from . import board_results, effective_judgements, grading_assignment
from .stage_to_sign import PHOTOS_SHOWN


@dataclass(frozen=True, slots=True)
class JudgedStage:
    """One stage of a grader's reading of which something is judged and nothing signed.

    ``before`` is the first stage that comes before it and is not judged to the end.
    """

    grading: Grading
    stage: Stage
    summary: board_results.StageSummary
    judgements: list[Judgement]
    before: Stage | None = None

    @property
    def key(self) -> str:
        """What a form calls it."""
        return f"{self.grading.pk}-{self.stage.value}"

    @property
    def is_complete(self) -> bool:
        """Whether nothing is missing but the signature, and that of stages before."""
        return _is_complete(self.summary) and self.before is None


def judged_stages(user: User, boards: BoardQuerySet) -> Iterator[JudgedStage]:
    """The stages of these boards that the user has begun to judge, in the order of the work.

    Read board by board, so that whoever takes the first of many reads no further.
    """
    read_again = Q(reading_request__isnull=False, reading_request__answered_at__isnull=True)
    mine = (
        boards.filter(gradings__in=Grading.objects.counted().filter(grader=user))
        .filter(Q(outcome__isnull=True) | Q(outcome__complete=False) | read_again)
        .filter(cancelled_at__isnull=True)
        .with_list_columns()
        .prefetch_related(PHOTOS_SHOWN, "exercise__positions")
        .order_by("number")
        .distinct()
    )
    for board in mine:
        assignment = grading_assignment.of_board(board)
        makes = effective_judgements.makes_of(board)
        grading = grading_assignment.open_reading(assignment, user, makes)
        if grading is None:
            continue
        by_stage: dict[str, list[Judgement]] = {}
        for judgement in board_results.judgements_to_sign(grading=grading):
            by_stage.setdefault(judgement.stage, []).append(judgement)
        links = assignment.chain(grading)
        signed_before = set().union(*(assignment.signed[link.pk] for link in links))
        before: Stage | None = None
        for stage in assignment.left_of(grading, makes):
            asked = {joint.pk for joint in board_results.joints_read(grading, stage, makes)}
            judgements = [
                judgement
                for judgement in by_stage.get(stage, ())
                if judgement.joint_id is None or judgement.joint_id in asked
            ]
            summary = board_results.stage_summary(grading, stage, makes)
            if judgements:
                yield JudgedStage(grading, Stage(stage), summary, judgements, before)
            if before is None and stage not in signed_before and not _is_complete(summary):
                before = Stage(stage)


def _is_complete(summary: board_results.StageSummary) -> bool:
    return bool(summary.joints) and not summary.open_places and not summary.missing
