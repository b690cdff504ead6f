"""Exercises: the list, and one with all it takes to make it."""

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from people.access import UserRequest
from people.models import Role
from training.content.cautions import CLOSING
from training.models import Exercise
from training.presenters import exercise_page


@require_safe
@login_required
def exercise_list(request: UserRequest) -> HttpResponse:
    exercises = Exercise.objects.current()
    return render(request, "training/exercise_list.html", {"exercises": exercises})


@require_safe
@login_required
def exercise_detail(request: UserRequest, code: str) -> HttpResponse:
    """The newest revision of an exercise, or the one asked for by ``?revision=``."""
    revisions = list(Exercise.objects.filter(code=code).order_by("-revision"))
    number = request.GET.get("revision", "")
    if number:
        candidates = [revision for revision in revisions if str(revision.revision) == number]
    else:
        candidates = [
            revision for revision in revisions if revision.retired_at is None
        ] or revisions
    if not candidates:
        raise Http404
    exercise = candidates[0]
    positions = list(exercise.positions.all())
    context = {
        "exercise": exercise,
        "revisions": [revision for revision in revisions if revision.pk != exercise.pk],
        "positions": positions,
        "runs": list(exercise_page.position_runs(positions)),
        "required": sum(position.required for position in positions),
        "wires": exercise_page.distinct_wires(positions),
        "stages": exercise_page.steps_by_stage(exercise),
        "tools": exercise_page.tools_with_kinds(exercise),
        "cautions": exercise_page.cautions_for(exercise),
        "closing": _(CLOSING),
        "may_make": request.user.has_role(Role.INSTRUCTOR) and exercise.retired_at is None,
    }
    return render(request, "training/exercise_detail.html", context)
