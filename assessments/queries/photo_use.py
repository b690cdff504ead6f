"""Which photographs somebody has gone by: they stay, whoever sent them."""

from collections.abc import Collection

from django.db.models import Max

from assessments.models import (
    Board,
    CannotTell,
    Judgement,
    Measurement,
    Photo,
    Question,
    StageSigning,
    StudyPhoto,
    UndoStep,
)


def gone_by(board: Board, photos: Collection[Photo]) -> set[int]:
    """A board's photographs that were judged by, measured, asked about, or there at a signature.

    Whoever signs has had every photograph that was there to look at, named or not. What a grader
    may still bring back by undoing counts as judged. Binding while board and photographs are
    locked.
    """
    numbers = {photo.pk for photo in photos}
    used: set[int] = set()
    for rows in (Judgement, Measurement, CannotTell, StudyPhoto, Question):
        named = rows._base_manager.filter(photo__in=numbers)
        used.update(named.values_list("photo_id", flat=True))
    steps = UndoStep.objects.filter(grading__board=board, taken_back=False)
    for before in steps.values_list("before", flat=True):
        used.update(was["photo"] for place in before if (was := place["was"]) and was["photo"])
    signed = StageSigning.objects.filter(grading__board=board).aggregate(last=Max("signed_at"))
    if signed["last"] is not None:
        used.update(photo.pk for photo in photos if photo.recorded_at <= signed["last"])
    return used & numbers
