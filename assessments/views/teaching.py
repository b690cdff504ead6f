"""What is taught from: lessons for the wall, and bench sheets for whoever makes a board."""

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from assessments import access
from assessments.presenters import exercise_shown
from assessments.presenters.bench_sheet import bench_sheet
from assessments.presenters.exercise_shown import ExerciseShown
from assessments.presenters.lesson_page import lesson_page
from people.access import UserRequest
from training import access as training_access
from training.content.cautions import CLOSING


@require_safe
@login_required
def exercise_lesson(request: UserRequest, code: str) -> HttpResponse:
    """The steps of an exercise for the wall, one a screen, each a place on one page."""
    asked = request.GET.get("revision", "")
    exercise = training_access.revision_for_reader(request.user, code, asked)
    shown = exercise_shown.of_exercise(exercise)
    context = {
        "exercise": exercise,
        "lesson": lesson_page(shown),
        "set": shown.made,
        "closing": _(CLOSING),
    }
    return render(request, "assessments/exercise_lesson.html", context)


@require_safe
@login_required
def exercise_bench_sheet(request: UserRequest, code: str) -> HttpResponse:
    """The sheet of an exercise, of the revision in use or the one asked for."""
    asked = request.GET.get("revision", "")
    exercise = training_access.revision_for_reader(request.user, code, asked)
    return _as_pdf(exercise_shown.of_exercise(exercise), exercise.code)


@require_safe
@login_required
def board_bench_sheet(request: UserRequest, number: str) -> HttpResponse:
    """The same of one board, with whose it is and a code that opens it."""
    board = access.board_for_reader(request.user, number)
    return _as_pdf(exercise_shown.of_board(board), board.number)


def _as_pdf(shown: ExerciseShown, name: str) -> HttpResponse:
    content = bench_sheet(shown, at=timezone.now())
    response = HttpResponse(content, content_type="application/pdf")
    file = f"bench-sheet-{slugify(name) or 'exercise'}.pdf"
    response["Content-Disposition"] = content_disposition_header(False, file) or "inline"
    add_never_cache_headers(response)
    return response
