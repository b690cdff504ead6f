"""Drafts of exercises published under one proof, and revisions retired; by quality."""

from dataclasses import dataclass
from datetime import datetime

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from people.access import UserRequest, role_required
from people.exceptions import ProofRefused
from people.forms.signing import ListedItem
from people.models import Role
from people.services.proof import prove_identity
from records.domain.shown import Change
from records.exceptions import ShownOtherwise
from training import access
from training.exceptions import TrainingError
from training.forms.exercises import PublishingForm, RetiringForm
from training.models import Exercise
from training.presenters import drafts_shown
from training.queries import exercises as queries
from training.services import exercise_publishing as services


@dataclass(frozen=True, slots=True)
class Draft:
    """A draft on the page that publishes: what it changes, and what is missing of it."""

    exercise: Exercise
    earlier: Exercise | None
    differences: list[Change]
    faults: list[str]
    scopes_said: str
    item: ListedItem | None = None


def _drafts(code: str) -> list[Exercise]:
    drafts = Exercise.objects.drafts().select_related("changed_by__person")
    return list(drafts.filter(code=code) if code else drafts)


def _form(request: UserRequest, drafts: list[Exercise], at: datetime) -> PublishingForm:
    showing = {
        str(draft.pk): drafts_shown.exercise_shown(draft, at)
        for draft in drafts
        if not services.faults_of(draft)
    }
    return PublishingForm(request.POST if request.method == "POST" else None, showing=showing)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.QUALITY)
def exercise_publish(request: UserRequest) -> HttpResponse:
    """The drafts, or the one that ``?exercise=`` names, each with what it changes."""
    at = timezone.now()
    code = request.GET.get("exercise", "")[:24]
    drafts = _drafts(code)
    form = _form(request, drafts, at)
    if request.method == "POST" and form.is_valid():
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            published = services.publish_exercises(
                drafts={int(key): digest for key, digest in form.to_sign.items()},
                actor=request.user,
                at=at,
                reason=form.cleaned_data["reason"],
                proof=proof,
            )
        except ShownOtherwise:
            drafts = _drafts(code)
            form = _form(request, drafts, at)
            form.is_valid()
        except ProofRefused as error:
            form.add_error("password", str(error))
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            text = ngettext(
                "%(n)d exercise is published: boards are handed out to it.",
                "%(n)d exercises are published: boards are handed out to them.",
                len(published),
            )
            messages.success(request, text % {"n": len(published)})
            if len(published) == 1:
                return redirect("training:exercise_detail", published[0].code)
            return redirect("training:exercise_list")
    context = {
        "form": form,
        "code": code,
        "drafts": [_listed(draft, form, at) for draft in drafts],
    }
    status = 422 if form.is_bound else 200
    return render(request, "training/exercise_publish.html", context, status=status)


def _listed(draft: Exercise, form: PublishingForm, at: datetime) -> Draft:
    key = str(draft.pk)
    codes = {position["scope_code"] for position in queries.positions_of(draft)}
    return Draft(
        draft,
        queries.earlier_of(draft),
        drafts_shown.exercise_differences(draft, at),
        services.faults_of(draft),
        drafts_shown.scopes_said(codes),
        form.item(key) if key in form.showing else None,
    )


@require_POST
@role_required(Role.QUALITY)
def exercise_retire(request: UserRequest, code: str, revision: int) -> HttpResponse:
    """Hand out no more boards of a revision, with the reason and a proof."""
    exercise = access.exercise_for_quality(request.user, code, revision)
    form = RetiringForm(request.POST)
    if form.is_valid():
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            services.retire_exercise(
                exercise=exercise,
                reason=form.cleaned_data["reason"],
                proof=proof,
                actor=request.user,
                at=timezone.now(),
            )
        except (ProofRefused, TrainingError) as error:
            messages.error(request, str(error))
        else:
            messages.success(
                request, _("%(exercise)s is out of use.") % {"exercise": exercise.title}
            )
    for of_field in form.errors.values():
        for fault in of_field:
            messages.error(request, str(fault))
    return redirect("training:exercise_detail", code)
