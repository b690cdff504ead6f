"""Where a grader could not tell from a photograph, and what is still asked for there."""

from collections.abc import Iterable

from django.db.models import Exists, OuterRef, Q, QuerySet

from assessments.models import CannotTell, Grading, Judgement, StageSigning


def still_open() -> QuerySet[CannotTell]:
    """Those not taken back, at places that their reading has not judged since, newest first.

    A judgement answers one; taken back, it is open again.
    """
    judged = Judgement.objects.filter(
        Q(joint=OuterRef("joint")) | Q(joint__isnull=True),
        grading=OuterRef("grading"),
        criterion=OuterRef("criterion"),
    )
    signed = StageSigning.objects.filter(grading=OuterRef("grading"), stage=OuterRef("stage"))
    return CannotTell.objects.filter(
        ~Exists(judged),
        ~Exists(signed),
        taken_back_at__isnull=True,
        grading__replaced_by__isnull=True,
    ).order_by("-recorded_at", "-pk")


def open_in(grading: Grading) -> dict[tuple[int | None, int], CannotTell]:
    """What is open in one reading, by joint and criterion: of each place the latest."""
    return latest_of_places(still_open().filter(grading=grading))


def latest_of_places(
    newest_first: Iterable[CannotTell],
) -> dict[tuple[int | None, int], CannotTell]:
    found: dict[tuple[int | None, int], CannotTell] = {}
    for asked in newest_first:
        found.setdefault((asked.joint_id, asked.criterion_id), asked)
    return found
