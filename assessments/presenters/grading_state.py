"""What the script of the grading screen is told of a board, to go on while no answer comes."""

from collections.abc import Iterable
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from assessments.models import CannotTell, Criterion, Judgement, Photo
from assessments.presenters.judgement_words import plain, unit_sign, unit_word
from assessments.presenters.measurement_words import left_out_says, marks_drawn, place_says
from assessments.queries.board_for_grader import BoardForGrader
from assessments.queries.measured_places import MeasuredPlace
from assessments.services.judgements import may_go_with_the_rest
from people.presenters.quantities import format_with_uncertainty, unit_suffix

from .class_position import PositionAcrossClass
from .grading_page import WHOLE_BOARD, GradingPage, is_read_on_photographs

State = dict[str, Any]


def board_state(for_grader: BoardForGrader, screen: GradingPage, tools: dict[int, str]) -> State:
    """One stage of a board: its places, criteria, photographs, and what is judged so far.

    Parameters
    ----------
    tools : dict of int to str
        The codes of the tools that a value may be read on, by id.
    """
    stage = screen.stage
    places = for_grader.places(stage)
    asked = {name_of(joint): for_grader.asked(stage, joint) for joint in places}
    return {
        "board": for_grader.board.number,
        "reader": for_grader.user.pk,
        "own": for_grader.own,
        "stage": stage.value,
        "closed": screen.stage_is_signed,
        "missing": bool(screen.missing),
        "undo": screen.can_undo,
        "because": screen.because,
        "place": screen.place.name,
        "criterion": screen.line.criterion.code if screen.line else "",
        "photo": screen.photo.key if screen.photo else "",
        "places": [
            {
                "name": name_of(joint),
                "joint": joint is not None,
                "spare": joint is not None and not joint.position.required,
                "codes": [criterion.code for criterion in asked[name_of(joint)]],
                "photos": [photo.key for photo in for_grader.photos_of(joint)],
                "best": best.key if (best := for_grader.best_photo(joint, stage)) else "",
            }
            for joint in places
        ],
        "criteria": {
            criterion.code: _criterion(criterion, own=for_grader.own)
            for stage_criteria in asked.values()
            for criterion in stage_criteria
        },
        "photos": {photo.key: _photo(photo) for photo in for_grader.photos},
        "judged": {
            name_of(joint): {
                criterion.code: judgement(said, for_grader, tools)
                for criterion in asked[name_of(joint)]
                if (said := for_grader.judgement(joint, criterion)) is not None
            }
            for joint in places
        },
        "measured": {
            name_of(joint): {
                criterion.code: _measured(stage_criteria)
                for criterion in asked[name_of(joint)]
                if (stage_criteria := for_grader.measured(joint, criterion)) is not None
            }
            for joint in places
        },
        "left_out": {
            name_of(joint): {
                criterion.code: left_out_says(n, for_grader.measured(joint, criterion))
                for criterion in asked[name_of(joint)]
                if (n := for_grader.left_out(joint, criterion))
            }
            for joint in places
        },
        "asked": {
            name_of(joint): {
                criterion.code: cannot_tell(waits)
                for criterion in asked[name_of(joint)]
                if (waits := for_grader.cannot_tell(joint, criterion)) is not None
            }
            for joint in places
        },
        "maker": {
            name_of(joint): {
                criterion.code: {"outcome": said.outcome, "note": said.note}
                for criterion in asked[name_of(joint)]
                if (said := for_grader.judgement_of_maker(joint, criterion)) is not None
            }
            for joint in places
        },
    }


def class_state(walk: PositionAcrossClass | None) -> State:
    """What lies ahead where one position is judged across a class."""
    if walk is None:
        return {"across": "", "ahead": []}
    return {
        "across": walk.session.number,
        "ahead": [
            reverse("assessments:photo_rendition", args=[photo.key, 2048]) for photo in walk.ahead
        ],
    }


def name_of(joint: Any) -> str:
    return joint.position.name if joint else WHOLE_BOARD


def judgement(judgement: Judgement, for_grader: BoardForGrader, tools: dict[int, str]) -> State:
    photo = next((photo.key for photo in for_grader.photos if photo.pk == judgement.photo_id), "")
    return {
        "outcome": judgement.outcome,
        "note": judgement.note,
        "photo": photo,
        "mark": None
        if judgement.mark_x is None or judgement.mark_y is None
        else [judgement.mark_x, judgement.mark_y],
        "value": _value(judgement),
        "uncertainty": plain(judgement.uncertainty),
        "tool": tools.get(judgement.tool_id or 0, ""),
        "marks": judgement.measurement_id,
        "at": judgement.judged_at.isoformat(),
        "because": judgement.by_eye_because,
    }


def cannot_tell(asked: CannotTell) -> State:
    return {"asks": asked.asks, "note": asked.note}


def judgements_at(
    for_grader: BoardForGrader, places: Iterable[tuple[int | None, int]], tools: dict[int, str]
) -> list[State]:
    """What is judged at joints (by id; None is the whole board) under criteria (by id) now."""
    joints = {None: None} | {make.pk: make for make in for_grader.makes}
    criteria = {each.pk: each for each in for_grader.criteria_set.all_criteria}
    rows = []
    for joint_id, criterion_id in places:
        if joint_id not in joints or criterion_id not in criteria:
            continue
        joint, criterion = joints[joint_id], criteria[criterion_id]
        judged = for_grader.judgement(joint, criterion)
        waits = for_grader.cannot_tell(joint, criterion)
        rows.append(
            {
                "place": name_of(joint),
                "criterion": criterion.code,
                "judged": judgement(judged, for_grader, tools) if judged else None,
                "asked": cannot_tell(waits) if waits and not judged else None,
            }
        )
    return rows


def _value(judgement: Judgement) -> str:
    """The value without its unit: as it was read, or of marks with the decimals that count."""
    spread = judgement.standard_uncertainty
    if judgement.how != Judgement.How.MARKS or judgement.value is None or spread is None:
        return plain(judgement.value)
    return format_with_uncertainty(float(judgement.value), float(spread))[0]


def _measured(measured: MeasuredPlace) -> State:
    return {
        "id": measured.pk,
        "times": len(measured.measurements),
        "says": place_says(measured),
        "value": format_with_uncertainty(measured.value, measured.standard_uncertainty)[0],
        "photo": measured.shown.photo.key,
        "drawn": marks_drawn(measured.shown),
    }


def _criterion(criterion: Criterion, *, own: bool) -> State:
    return {
        "title": criterion.title,
        "minor": criterion.severity == Criterion.Severity.MINOR,
        "rest": may_go_with_the_rest(criterion),
        "measured": criterion.is_measured,
        "must_measure": criterion.is_measured and not own,
        "by_eye": criterion.may_be_judged_by_eye,
        "quantity": criterion.quantity if is_read_on_photographs(criterion) else "",
        "unit": unit_suffix(criterion.unit) if criterion.is_measured else "",
        "sign": unit_sign(criterion.unit),
        "unit_word": unit_word(criterion.unit),
    }


def _photo(photo: Photo) -> State:
    return {
        "src": reverse("assessments:photo_rendition", args=[photo.key, 2048]),
        "measure": reverse("assessments:photo_measure", args=[photo.key]),
        "wide": photo.upright_width,
        "high": photo.upright_height,
        "name": photo.original_name,
        "joint": photo.joint_id is not None,
        "stage": photo.get_stage_display() if photo.stage else "",
        "magnification": plain(photo.magnification),
        "incomplete": _("incomplete file") if photo.is_incomplete else "",
    }
