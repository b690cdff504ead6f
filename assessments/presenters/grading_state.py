"""What the script of the grading screen is told of a board, to go on while no answer comes."""

from collections.abc import Iterable
from typing import Any

from django.urls import reverse

from assessments.models import Criterion, Judgement, Measurement, Photo
from assessments.presenters.judgement_words import plain, unit_sign, unit_word
from assessments.presenters.measurement_words import marks_drawn, measured_says
from assessments.queries.board_for_grader import BoardForGrader
from assessments.services.judgements import may_go_with_the_rest
from people.presenters.quantities import format_with_uncertainty, unit_suffix

from .class_position import PositionAcrossClass
from .grading_page import WHOLE_BOARD, GradingPage

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
        "place": screen.place.name,
        "criterion": screen.line.criterion.code if screen.line else "",
        "photo": screen.photo.key if screen.photo else "",
        "places": [
            {
                "name": name_of(joint),
                "joint": joint is not None,
                "spare": joint is not None and not joint.position.required,
                "codes": [one.code for one in asked[name_of(joint)]],
                "photos": [one.key for one in for_grader.photos_of(joint)],
                "best": best.key if (best := for_grader.best_photo(joint, stage)) else "",
            }
            for joint in places
        ],
        "criteria": {one.code: _criterion(one) for found in asked.values() for one in found},
        "photos": {one.key: _photo(one) for one in for_grader.photos},
        "judged": {
            name_of(joint): {
                one.code: judgement(said, for_grader, tools)
                for one in asked[name_of(joint)]
                if (said := for_grader.judgement(joint, one)) is not None
            }
            for joint in places
        },
        "measured": {
            name_of(joint): {
                one.code: _measured(found)
                for one in asked[name_of(joint)]
                if (found := for_grader.measured(joint, one)) is not None
            }
            for joint in places
        },
        "maker": {
            name_of(joint): {
                one.code: {"outcome": said.outcome, "note": said.note}
                for one in asked[name_of(joint)]
                if (said := for_grader.judgement_of_maker(joint, one)) is not None
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
            reverse("assessments:photo_rendition", args=[one.key, 2048]) for one in walk.ahead
        ],
    }


def name_of(joint: Any) -> str:
    return joint.position.name if joint else WHOLE_BOARD


def judgement(one: Judgement, for_grader: BoardForGrader, tools: dict[int, str]) -> State:
    photo = next((photo.key for photo in for_grader.photos if photo.pk == one.photo_id), "")
    return {
        "outcome": one.outcome,
        "note": one.note,
        "photo": photo,
        "mark": None if one.mark_x is None or one.mark_y is None else [one.mark_x, one.mark_y],
        "value": _value(one),
        "uncertainty": plain(one.uncertainty),
        "tool": tools.get(one.tool_id or 0, ""),
        "marks": one.measurement_id,
    }


def judgements_at(
    for_grader: BoardForGrader, places: Iterable[tuple[int | None, int]], tools: dict[int, str]
) -> list[State]:
    """What is judged at joints (by id; None is the whole board) under criteria (by id) now."""
    joints = {None: None} | {one.pk: one for one in for_grader.makes}
    criteria = {one.pk: one for one in for_grader.criteria_set.all_criteria}
    found = []
    for joint_id, criterion_id in places:
        if joint_id not in joints or criterion_id not in criteria:
            continue
        joint, criterion = joints[joint_id], criteria[criterion_id]
        said = for_grader.judgement(joint, criterion)
        found.append(
            {
                "place": name_of(joint),
                "criterion": criterion.code,
                "judged": judgement(said, for_grader, tools) if said else None,
            }
        )
    return found


def _value(one: Judgement) -> str:
    """The value without its unit: as it was read, or of marks with the decimals that count."""
    spread = one.standard_uncertainty
    if one.how != Judgement.How.MARKS or one.value is None or spread is None:
        return plain(one.value)
    return format_with_uncertainty(float(one.value), float(spread))[0]


def _measured(one: Measurement) -> State:
    return {
        "id": one.pk,
        "says": measured_says(one),
        "value": format_with_uncertainty(one.value, one.standard_uncertainty)[0],
        "photo": one.photo.key,
        "drawn": marks_drawn(one),
    }


def _criterion(one: Criterion) -> State:
    return {
        "title": one.title,
        "minor": one.severity == Criterion.Severity.MINOR,
        "rest": may_go_with_the_rest(one),
        "measured": one.is_measured,
        "quantity": one.quantity if one.is_measured else "",
        "unit": unit_suffix(one.unit) if one.is_measured else "",
        "sign": unit_sign(one.unit),
        "unit_word": unit_word(one.unit),
    }


def _photo(one: Photo) -> State:
    return {
        "src": reverse("assessments:photo_rendition", args=[one.key, 2048]),
        "measure": reverse("assessments:photo_measure", args=[one.key]),
        "wide": one.upright_width,
        "high": one.upright_height,
        "name": one.original_name,
        "joint": one.joint_id is not None,
        "stage": one.get_stage_display() if one.stage else "",
        "magnification": plain(one.magnification),
    }
