"""Rework, decisions between two graders, and a trainee's one request for another reading."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from assessments import access, ports
from assessments.domain.readings import reworks_left
from assessments.exceptions import AssessmentError
from assessments.forms.readings import AnotherReadingForm, DecisionForm, ReworkForm
from assessments.models import Board
from assessments.presenters import result_page
from assessments.presenters.stage_shown import differences_shown
from assessments.queries import board_results, effective_judgements
from assessments.services import decisions, reading_requests, rework
from assessments.services.grading import refuse_unless_may_grade
from people.access import UserRequest
from people.exceptions import ProofRefused
from people.services.proof import prove_identity
from records.exceptions import ShownOtherwise


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def joint_rework(request: UserRequest, number: str, joint_id: int) -> HttpResponse:
    """Send one rejected joint back to be made again."""
    board = access.board_for_grader(request.user, number)
    joint = get_object_or_404(board.joints.select_related("position"), pk=joint_id)
    if not access.may_see_outcome(request.user, board):
        messages.error(request, access.why_outcome_is_closed(board))
        return redirect("assessments:board_detail", board.number)
    reading = board_results.read_board(board)
    if why := rework.why_no_rework(board, joint, reading):
        messages.error(request, why)
        return redirect("assessments:board_result", board.number)
    judged = next(row for row in reading.joints if row.joint == joint)
    form = ReworkForm(
        request.POST if request.method == "POST" else None,
        rejected=[judgement.criterion for judgement in judged.rejections],
    )
    if request.method == "POST" and form.is_valid():
        try:
            rework.send_back(
                board=board,
                joint=joint,
                codes=form.cleaned_data["codes"],
                reason=form.cleaned_data["reason"],
                actor=request.user,
                at=timezone.now(),
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request,
                _("%(joint)s is sent back. It is inspected again once it is handed in.")
                % {"joint": joint.position.name},
            )
            return redirect("assessments:board_result", board.number)
    context = {
        "board": board,
        "joint": joint,
        "found": judged,
        "left": reworks_left(joint.make, board.exercise.rework_allowed),
        "form": form,
    }
    status = 422 if form.is_bound else 200
    return render(request, "assessments/joint_rework.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def board_decide(request: UserRequest, number: str) -> HttpResponse:
    """Decide, as a third person, every judgement on which two graders differ."""
    board = access.board_to_decide(request.user, number)
    if not effective_judgements.to_decide(board):
        raise Http404
    try:
        refuse_unless_may_grade(request.user, board, timezone.now())
    except AssessmentError as error:
        messages.error(request, str(error))
        return redirect("assessments:board_detail", board.number)
    form = _decision_form(request, board)
    if request.method == "POST" and form.is_valid():
        try:
            decisions.decide(
                board=board,
                decider=request.user,
                decisions=form.decisions(),
                proof=prove_identity(request.user, form.cleaned_data["password"]),
                at=timezone.now(),
                shown=form.shown_digest,
            )
        except ShownOtherwise:
            form = _decision_form(request, board)
            form.is_valid()  # What was typed stays; what has changed is said above it.
        except ProofRefused as error:
            form.add_error("password", str(error))
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request, _("Decided and signed. The result of %(board)s follows from it.")
                % {"board": board.number},
            )  # fmt: skip
            return redirect("assessments:board_result", board.number)
    photos = list(board.photos.order_by("order", "id"))
    rows = [
        (row, result_page.in_hand([row.disagreement.first, row.disagreement.second], photos))
        for row in form.rows()
    ]
    context = {"board": board, "form": form, "rows": rows}
    status = 422 if form.is_bound else 200
    return render(request, "assessments/board_decide.html", context, status=status)


def _decision_form(request: UserRequest, board: Board) -> DecisionForm:
    """What differs now, with what was typed."""
    disagreements = effective_judgements.to_decide(board)
    return DecisionForm(
        request.POST if request.method == "POST" else None,
        disagreements=disagreements,
        showing=differences_shown(board, disagreements, timezone.now()),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def another_reading(request: UserRequest, number: str) -> HttpResponse:
    """Ask, once, that one's own board be read again."""
    board = access.own_board(request.user, number)
    if why := reading_requests.why_not_ask(board, request.user):
        messages.error(request, why)
        return redirect("assessments:board_detail", board.number)
    form = AnotherReadingForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            reading_requests.ask_for_another_reading(
                board=board,
                trainee=request.user,
                reason=form.cleaned_data["reason"],
                at=timezone.now(),
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request,
                _("Somebody who has not judged %(board)s reads it again. You find the answer here.")
                % {"board": board.number},
            )
            return redirect("assessments:board_detail", board.number)
    context = {"board": board, "form": form, "resting": ports.what_rests_on(board)}
    status = 422 if form.is_bound else 200
    return render(request, "assessments/another_reading.html", context, status=status)
