"""What a board that is not read once and for all waits for, as one user may give it."""

from enum import StrEnum

from django.db.models import Exists, OuterRef, Q, QuerySet

from assessments.exceptions import AssessmentError
from assessments.models import Board, Grading, Joint, StageSigning
from people.models import User

from . import effective_judgements, grading_assignment


class PendingAction(StrEnum):
    """What of a user a board waits for."""

    GRADING = "grading"
    SECOND = "second"
    DECISION = "decision"
    REWORK = "rework"
    ANOTHER = "another"
    NOTHING = ""


KINDS = {
    Grading.Kind.FIRST: PendingAction.GRADING,
    Grading.Kind.REWORK: PendingAction.REWORK,
    Grading.Kind.ANOTHER: PendingAction.ANOTHER,
}


def read_in_several(boards: QuerySet[Board]) -> QuerySet[Board]:
    """Of these boards those on which more than one reading is under way."""
    return boards.filter(
        Q(exercise__graders__gt=1)
        & Exists(StageSigning.objects.filter(grading__board=OuterRef("pk")))
        & (Q(outcome__isnull=True) | Q(outcome__complete=False))
        | Exists(Joint.objects.filter(board=OuterRef("pk"), make__gt=1))
        & Q(outcome__complete=False)
        | Q(reading_request__isnull=False, reading_request__answered_at__isnull=True)
    )


def pending_action_for(board: Board, user: User) -> PendingAction:
    """What a board waits for that this user could give, standing apart."""
    if user.person_id is not None and user.person_id == board.person_id:
        return PendingAction.NOTHING
    assignment = grading_assignment.of_board(board)
    makes = effective_judgements.makes_of(board).for_reading()
    grading = grading_assignment.open_reading(assignment, user, makes)
    try:
        kind = (
            grading.kind if grading else grading_assignment.kind_to_begin(assignment, user, makes)
        )
    except AssessmentError:
        can = board.exercise.graders > 1 and user.pk not in assignment.signers
        return (
            PendingAction.DECISION
            if can and effective_judgements.to_decide(board)
            else PendingAction.NOTHING
        )
    is_second = kind == Grading.Kind.FIRST and board.exercise.graders > 1
    if is_second and any(user.pk not in hands for hands in assignment.taken(kind).values()):
        return PendingAction.SECOND
    return KINDS[Grading.Kind(kind)]
