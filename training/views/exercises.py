"""Exercises: the list, and one with all it takes to make it."""

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from people.access import UserRequest
from people.models import Role
from training import access
from training.content.cautions import CLOSING
from training.forms.exercises import RetiringForm
from training.models import Exercise
from training.presenters import drafts_shown, exercise_page
from training.queries import exercises as queries


@require_safe
@login_required
def exercise_list(request: UserRequest) -> HttpResponse:
    """What is in use, and before it, for whoever works on them, the drafts."""
    may_draft = access.may_draft(request.user)
    drafts = Exercise.objects.drafts().select_related("changed_by__person")
    context = {
        "exercises": Exercise.objects.current(),
        "drafts": list(drafts) if may_draft else [],
        "may_draft": may_draft,
        "may_publish": request.user.has_role(Role.QUALITY),
    }
    return render(request, "training/exercise_list.html", context)


@require_safe
@login_required
def exercise_detail(request: UserRequest, code: str) -> HttpResponse:
    """The revision of an exercise in use, or the one asked for by ``?revision=``.

    Who works on drafts sees one that there is none of in use as its draft.
    """
    revisions = list(access.revisions_readable_by(request.user, code))
    number = request.GET.get("revision", "")
    candidates = [one for one in revisions if not number or str(one.revision) == number]
    if not candidates:
        raise Http404
    exercise = candidates[0]
    return render(request, "training/exercise_detail.html", _page(request, exercise, revisions))


def _page(request: UserRequest, exercise: Exercise, revisions: list[Exercise]) -> dict:
    user, now = request.user, timezone.now()
    positions = list(exercise.positions.all())
    may_publish = user.has_role(Role.QUALITY)
    in_use = not exercise.is_draft and exercise.retired_at is None
    earlier = queries.earlier_of(exercise)
    return {
        "exercise": exercise,
        "revisions": [revision for revision in revisions if revision.pk != exercise.pk],
        "positions": positions,
        "runs": list(exercise_page.position_runs(positions)),
        "required": sum(position.required for position in positions),
        "wires": exercise_page.distinct_wires(positions),
        "stages": exercise_page.steps_by_stage(exercise),
        "tools": exercise_page.tools_with_kinds(exercise),
        "cautions": exercise_page.cautions_with(exercise_page.codes_of(exercise)),
        "closing": _(CLOSING),
        "may_make": user.has_role(Role.INSTRUCTOR) and in_use,
        "may_draft": access.may_draft(user),
        "draft": next((revision for revision in revisions if revision.is_draft), None),
        "may_publish": may_publish,
        "earlier": earlier,
        "differences": drafts_shown.exercise_differences(exercise, now) if earlier else [],
        "scopes_said": drafts_shown.scopes_said(one.scope_code for one in positions)
        if access.may_draft(user)
        else "",
        "retiring_form": RetiringForm(auto_id="retire-%s") if may_publish and in_use else None,
    }
