"""The result sheet of a board: a page to print, and the same as a PDF."""

from collections.abc import Callable

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.views.decorators.http import require_safe

from assessments import access
from assessments.exceptions import DecodersBusy, NothingToPrint
from assessments.presenters.result_pdf import result_pdf, texts_on_sheet, words
from assessments.presenters.result_sheet import ResultSheet, result_sheet
from people.access import UserRequest
from people.presenters.paper import not_printed

from .photos import busy


@require_safe
@login_required
def board_sheet(request: UserRequest, number: str) -> HttpResponse:
    return _answered(request, number, _as_page)


@require_safe
@login_required
def board_sheet_pdf(request: UserRequest, number: str) -> HttpResponse:
    return _answered(request, number, _as_pdf)


def _answered(
    request: UserRequest, number: str, laid_out: Callable[[UserRequest, ResultSheet], HttpResponse]
) -> HttpResponse:
    """The sheet, for whoever will not still have to read the board without it."""
    board = access.board_for_reader(request.user, number)
    try:
        if hasattr(board, "outcome") and not access.may_see_outcome(request.user, board):
            raise NothingToPrint(access.why_outcome_is_closed(board))
        sheet = result_sheet(board, user=request.user, at=timezone.now())
    except NothingToPrint as error:
        messages.error(request, str(error))
        return redirect("assessments:board_detail", board.number)
    response = laid_out(request, sheet)
    add_never_cache_headers(response)
    return response


def _as_page(request: UserRequest, sheet: ResultSheet) -> HttpResponse:
    context = {
        "board": sheet.board,
        "sheet": sheet,
        "words": words(),
        "lacking": not_printed(texts_on_sheet(sheet)),
    }
    return render(request, "assessments/board_sheet.html", context)


def _as_pdf(request: UserRequest, sheet: ResultSheet) -> HttpResponse:
    try:
        content = result_pdf(sheet)
    except DecodersBusy as error:
        return busy(error)
    response = HttpResponse(content, content_type="application/pdf")
    name = "".join(
        character if character.isalnum() or character in "-_" else "-"
        for character in sheet.board.number
    )
    response["Content-Disposition"] = f'inline; filename="result-{name}.pdf"'
    return response
