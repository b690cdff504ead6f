"""What a page shows of a stage to be signed, or of differences to be decided, line by line."""

from collections.abc import Sequence
from datetime import datetime

from django.db.models import prefetch_related_objects
from django.utils.translation import gettext as _

from assessments.models import Board, Grading, Judgement, Photo
from assessments.queries import board_results
from assessments.queries.effective_judgements import Disagreement
from assessments.queries.stage_to_sign import (
    PHOTOS_SHOWN,
    decisions_to_sign,
    judgements_covered,
    stage_to_sign,
)
from people.presenters.days import format_short_instant
from records.domain.shown import Line, Shown, digest_of

from .judgement_words import how_shown, joint_name, measured_shown, plain


def stage_shown(
    grading: Grading,
    stage: str,
    at: datetime,
    summary: board_results.StageSummary | None = None,
    judgements: list[Judgement] | None = None,
) -> Shown:
    """What is shown of a stage that its grader may sign.

    Parameters
    ----------
    summary, judgements : optional
        What the page has read already: `board_results.stage_summary` and `judgements_covered`.
    """
    summary = board_results.stage_summary(grading, stage) if summary is None else summary
    judgements = judgements_covered(grading, stage) if judgements is None else judgements
    zone = grading.board.site.time_zone
    in_order = sorted(
        judgements,
        key=lambda row: (
            row.joint is None,
            row.joint.position.order if row.joint else 0,
            row.criterion.order,
        ),
    )
    lines = {
        _place(judgement): Line(_says(judgement), format_short_instant(judgement.judged_at, zone))
        for judgement in in_order
    }
    # A photograph is signed for where somebody judged by it; that others came is told as well.
    prefetch_related_objects([grading.board], PHOTOS_SHOWN)
    photos = grading.board.photos.all()
    for photo in (photo for photo in photos if photo.stage in ("", stage)):
        lines[_photograph(photo)] = Line(
            _("added by %(name)s")
            % {"name": photo.added_by.get_full_name() if photo.added_by else _("somebody")},
            format_short_instant(photo.recorded_at, zone),
        )
    return Shown(digest_of(stage_to_sign(grading, stage, summary, judgements)), at, lines)


def differences_shown(board: Board, disagreements: Sequence[Disagreement], at: datetime) -> Shown:
    """What is shown of the judgements on which two graders differ, to whoever decides."""
    lines = {
        _place(each.first): Line(
            _("%(one)s; the other: %(other)s")
            % {"one": _says(each.first), "other": _says(each.second)}
        )
        for each in disagreements
    }
    return Shown(digest_of(decisions_to_sign(board, disagreements)), at, lines)


def _place(judgement: Judgement) -> str:
    place = joint_name(judgement.joint) if judgement.joint else _("Whole board")
    return f"{place}, {judgement.criterion.title} ({judgement.criterion.code})"


def _says(judgement: Judgement) -> str:
    words = [
        judgement.get_outcome_display(),
        _("accepted with the rest") if judgement.with_the_rest else "",
        how_shown(judgement),
        f"{plain(judgement.magnification)}×" if judgement.magnification is not None else "",
        measured_shown(judgement, judgement.criterion.unit),
        judgement.tool.code if judgement.tool else "",
        judgement.photo.original_name if judgement.photo else "",
        f"“{judgement.note}”" if judgement.note else "",
    ]
    return ", ".join(word for word in words if word)


def _photograph(photo: Photo) -> str:
    shows = joint_name(photo.joint) if photo.joint else _("the whole board")
    return _("%(file)s, photograph of %(place)s") % {"file": photo.original_name, "place": shows}
