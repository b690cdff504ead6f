"""The result of a board, as its signed stages say it is."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from assessments import access
from assessments.models import Grading
from assessments.presenters import board_readings, measured_by_words, result_page
from assessments.presenters.result_sheet import may_print
from assessments.queries import board_results, grading_assignment, measured_by
from people.access import READERS, UserRequest


@require_safe
@login_required
def board_result(request: UserRequest, number: str) -> HttpResponse:
    board = access.board_for_reader(request.user, number)
    if hasattr(board, "outcome") and not access.may_see_outcome(request.user, board):
        messages.error(request, access.why_outcome_is_closed(board))
        return redirect("assessments:board_detail", board.number)
    reading = board_results.read_board(board)
    gradings = [
        grading
        for grading in grading_assignment.gradings_of(board)
        if grading.kind != Grading.Kind.OWN
    ]
    signed = [grading for grading in reversed(gradings) if grading.signings.all()]
    replaced = {grading.replaces_id for grading in gradings}
    own = board.gradings.filter(kind=Grading.Kind.OWN).first()
    photos = list(board.photos.order_by("order", "id"))
    said = result_page.readings_said(signed)
    measured = measured_by.tally_of(reading)
    correctable = [
        grading
        for grading in signed
        if grading.pk not in replaced
        and grading_assignment.may_correct(grading, gradings, request.user)
    ]
    context = {
        "board": board,
        "readings": board_readings.result_of(board, request.user, reading, signed),
        "reading": reading,
        "rules": result_page.rules_of(reading),
        "measured": measured_by_words.tally_says(measured),
        "by_eye": measured_by_words.by_eye_lines(measured),
        "gradings": [(grading, said[grading.pk]) for grading in signed],
        "begun": [
            grading for grading in gradings if grading.replaces_id and not grading.signings.all()
        ],
        "stages": [
            (stage, signing, said[signing.grading_id] if signing else "")
            for stage in board.exercise.stage_list
            for signing in reading.signings_of(stage.value) or (None,)
        ],
        "faults": [
            (joint, result_page.in_hand(joint.rejections, photos))
            for joint in (*reading.joints, *reading.spare)
            if joint.rejections
        ],
        "in_hand_of_board": result_page.in_hand(reading.board.rejections, photos)
        if reading.board
        else None,
        "may_grade": access.may_judge(request.user, board),
        "next_board": access.next_board_waiting(request.user, board),
        "opens_person": request.user.has_role(*READERS, site=board.site_id),
        "correctable": result_page.corrections_of(correctable, said),
        "own_reading": own,
        "sheet_may_print": may_print(board, reading),
        "comparison": board_results.compare_with_own(reading, own) if own else None,
    }
    return render(request, "assessments/board_result.html", context)
