"""The result sheet of a board: a page to print, and the same as a PDF."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.views.decorators.http import require_safe

from assessments import access
from assessments.exceptions import NothingToPrint
from assessments.models import Board
from assessments.result_pdf import result_pdf, words
from assessments.result_sheet import result_sheet
from training.access import UserRequest


def _refuse_blind(request: UserRequest, board: Board) -> None:
    """Print nothing for whoever may still have to read the board without it."""
    if hasattr(board, "outcome") and not access.may_see_outcome(request.user, board):
        raise NothingToPrint(access.why_outcome_is_closed(board))


@require_safe
@login_required
def board_sheet(request: UserRequest, number: str) -> HttpResponse:
    board = access.board_for_reader(request.user, number)
    try:
        _refuse_blind(request, board)
        sheet = result_sheet(board, user=request.user, at=timezone.now())
    except NothingToPrint as error:
        messages.error(request, str(error))
        return redirect("assessments:board_detail", board.number)
    context = {"board": board, "sheet": sheet, "words": words()}
    response = render(request, "assessments/board_sheet.html", context)
    add_never_cache_headers(response)
    return response


@require_safe
@login_required
def board_sheet_pdf(request: UserRequest, number: str) -> HttpResponse:
    board = access.board_for_reader(request.user, number)
    try:
        _refuse_blind(request, board)
        sheet = result_sheet(board, user=request.user, at=timezone.now())
    except NothingToPrint as error:
        messages.error(request, str(error))
        return redirect("assessments:board_detail", board.number)
    response = HttpResponse(result_pdf(sheet), content_type="application/pdf")
    name = "".join(one if one.isalnum() or one in "-_" else "-" for one in board.number)
    response["Content-Disposition"] = f'inline; filename="result-{name}.pdf"'
    add_never_cache_headers(response)
    return response
