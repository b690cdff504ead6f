"""The result of a board, as its signed stages say it is."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from assessments import access
from assessments.models import Grading
from assessments.presenters import board_readings, result_page
from assessments.presenters.result_sheet import may_print
from assessments.queries import board_results, grading_assignment
from people.access import UserRequest
from people.middleware.languages import in_own_language


@require_safe
@login_required
@in_own_language
def board_result(request: UserRequest, number: str) -> HttpResponse:
    board = access.board_for_reader(request.user, number)
    if hasattr(board, "outcome") and not access.may_see_outcome(request.user, board):
        messages.error(request, access.why_outcome_is_closed(board))
        return redirect("assessments:board_detail", board.number)
    reading = board_results.read_board(board)
    gradings = [
        one for one in grading_assignment.gradings_of(board) if one.kind != Grading.Kind.OWN
    ]
    signed = [one for one in reversed(gradings) if one.signings.all()]
    replaced = {one.replaces_id for one in gradings}
    own = board.gradings.filter(kind=Grading.Kind.OWN).first()
    photos = list(board.photos.order_by("order", "id"))
    said = result_page.readings_said(signed)
    correctable = [
        one
        for one in signed
        if one.pk not in replaced and grading_assignment.may_correct(one, gradings, request.user)
    ]
    context = {
        "board": board,
        "several": board_readings.result_of(board, request.user, reading, signed),
        "reading": reading,
        "rules": result_page.rules_of(reading),
        "gradings": [(one, said[one.pk]) for one in signed],
        "begun": [one for one in gradings if one.replaces_id and not one.signings.all()],
        "stages": [
            (stage, signing, said[signing.grading_id] if signing else "")
            for stage in board.exercise.stage_list
            for signing in reading.signings_of(stage.value) or (None,)
        ],
        "faults": [
            (one, result_page.in_hand(one.rejections, photos))
            for one in (*reading.joints, *reading.spare)
            if one.rejections
        ],
        "in_hand_of_board": result_page.in_hand(reading.board.rejections, photos)
        if reading.board
        else None,
        "may_grade": access.may_judge(request.user, board),
        "correctable": result_page.corrections_of(correctable, said),
        "own_reading": own,
        "sheet_may_print": may_print(board, reading),
        "comparison": board_results.compare_with_own(reading, own) if own else None,
    }
    return render(request, "assessments/board_result.html", context)
