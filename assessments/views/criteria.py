"""Criteria: read by everyone, drafted by instructors, confirmed and published by quality."""

from collections.abc import Callable
from functools import partial
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import Count, Q
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments import access
from assessments.exceptions import AssessmentError
from assessments.forms.criteria import ConfirmForm, CriterionForm, PublishingForm
from assessments.models import CriteriaSet, Criterion
from assessments.services import criteria as services
from people.access import UserRequest, role_required
from people.exceptions import ProofRefused
from people.models import Installation, Role
from people.services.proof import prove_identity
from training.models import Exercise, JointType, Stage

DRAWINGS = {
    JointType.TURRET: "turret-wrap-top-accept",
    JointType.BIFURCATED: "bifurcated-wrap-accept",
    JointType.HOOK: "hook-wrap-accept",
    JointType.PIERCED: "pierced-wrap-accept",
    JointType.CUP: "cup-seated-accept",
    JointType.HOLE: "hole-fill-accept",
    JointType.WIRE: "strip-length-accept",
}

ByStage = list[tuple[Stage, list[Criterion], list[Criterion]]]


@require_safe
@login_required
def criteria_list(request: UserRequest) -> HttpResponse:
    """The joint types that the current set covers, and every set there is."""
    current = CriteriaSet.objects.current().first()
    counted = [
        (joint_type, DRAWINGS[joint_type], _count(current, joint_type)) for joint_type in JointType
    ]
    sets = (
        access.criteria_sets_readable_by(request.user)
        .annotate(
            criteria_count=Count("criteria"),
            unverified_count=Count("criteria", filter=Q(criteria__confirmed_at__isnull=True)),
        )
        .order_by("title", "-revision")
    )
    context = {
        "current": current,
        "joint_types": [counts for counts in counted if counts[2]],
        "sets": sets,
        "may_draft": request.user.has_role(Role.INSTRUCTOR, Role.QUALITY),
    }
    return render(request, "assessments/criteria_list.html", context)


@require_safe
@login_required
def criteria_for_joint_type(request: UserRequest, joint_type: str) -> HttpResponse:
    """The reference page of a joint type, under the current set or the one asked for."""
    if joint_type not in JointType.values:
        raise Http404
    readable = access.criteria_sets_readable_by(request.user)
    asked = request.GET.get("set", "")
    if asked:
        chosen = get_object_or_404(readable, pk=asked if asked.isdecimal() else 0)
    else:
        chosen = get_object_or_404(CriteriaSet.objects.current()[:1])
    stages = by_stage(chosen, list(Stage), {joint_type})
    if not stages:
        raise Http404
    context = {
        "set": chosen,
        "joint_type": JointType(joint_type),
        "stages": stages,
        "joint_types": [joint_type for joint_type in JointType if _count(chosen, joint_type)],
    }
    return render(request, "assessments/criteria_joint_type.html", context)


@require_safe
@login_required
def exercise_criteria(request: UserRequest, code: str) -> HttpResponse:
    """What will be judged of an exercise: part of its page, or a page of its own unscripted."""
    revisions = Exercise.objects.filter(code=code).order_by("-revision")
    asked = request.GET.get("revision", "")
    if asked:
        exercise = get_object_or_404(revisions, revision=asked if asked.isdecimal() else 0)
    else:
        exercise = get_object_or_404(revisions[:1])
    current = CriteriaSet.objects.current().first()
    joint_types = set(exercise.positions.values_list("joint_type", flat=True))
    context = {
        "exercise": exercise,
        "set": current,
        "stages": by_stage(current, exercise.stage_list, joint_types) if current else [],
        "several_types": len(joint_types) > 1,
    }
    page = "partials/exercise_criteria" if request.htmx else "criteria_exercise"
    return render(request, f"assessments/{page}.html", context)


@require_safe
@login_required
def criteria_set_detail(request: UserRequest, set_id: int) -> HttpResponse:
    return show_set(request, access.criteria_set_for_reader(request.user, set_id))


def show_set(request: UserRequest, made: CriteriaSet, refused: str = "") -> HttpResponse:
    """A set as a whole, with what the user may do to it."""
    user, is_draft = request.user, made.published_at is None
    unverified = [criterion for criterion in made.all_criteria if not criterion.is_verified]
    context = {
        "set": made,
        "stages": by_stage(made, list(Stage), set(JointType.values)),
        "unverified": len(unverified),
        "is_draft": is_draft,
        "may_draft": user.has_role(Role.INSTRUCTOR, Role.QUALITY),
        "may_publish": user.has_role(Role.QUALITY),
        # The only published set retires by being replaced.
        "may_change_state": is_draft
        or (made.retired_at is None and CriteriaSet.objects.current().exclude(pk=made.pk).exists()),
        "is_demo": Installation.is_demo(),
        "is_current": made == CriteriaSet.objects.current().first(),
        "refused": refused,
        "publishing_form": PublishingForm(auto_id=f"{'publish' if is_draft else 'retire'}-%s"),
    }
    return render(request, "assessments/criteria_set.html", context, status=422 if refused else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.INSTRUCTOR, Role.QUALITY)
def criterion_edit(request: UserRequest, set_id: int, code: str) -> HttpResponse:
    criterion = access.criterion_for_editor(request.user, set_id, code)
    form = CriterionForm(request.POST if request.method == "POST" else None, instance=criterion)
    if request.method == "POST" and form.is_valid():
        try:
            services.change_criterion(
                criterion=criterion, **form.changes(), actor=request.user, at=timezone.now()
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("%(code)s is changed.") % {"code": code})
            return redirect("assessments:criteria_set_detail", set_id)
    context = {"form": form, "criterion": criterion, "set": criterion.criteria_set}
    status = 422 if form.is_bound else 200
    return render(request, "assessments/criterion_form.html", context, status=status)


@require_POST
@role_required(Role.QUALITY)
def criteria_confirm(request: UserRequest, set_id: int) -> HttpResponse:
    """The ticked criteria were read in the documents they name."""
    made = access.criteria_set_for_reader(request.user, set_id)
    form = ConfirmForm(request.POST, criteria=made.all_criteria)
    if not form.is_valid():
        return show_set(request, made, refused=" ".join(map(str, form.errors["codes"])))
    try:
        confirmed = services.confirm_criteria(
            criteria_set=made, **form.cleaned_data, actor=request.user, at=timezone.now()
        )
    except AssessmentError as error:
        return show_set(request, made, refused=str(error))
    text = ngettext("%(n)d criterion is confirmed.", "%(n)d criteria are confirmed.", confirmed)
    messages.success(request, text % {"n": confirmed})
    return redirect("assessments:criteria_set_detail", set_id)


@require_POST
@role_required(Role.QUALITY)
def criteria_publish(request: UserRequest, set_id: int) -> HttpResponse:
    return _act_with_proof(
        request, set_id, services.publish_criteria_set, _("%(set)s is published: boards go by it.")
    )


@require_POST
@role_required(Role.QUALITY)
def criteria_retire(request: UserRequest, set_id: int) -> HttpResponse:
    return _act_with_proof(request, set_id, services.retire_criteria_set, _("%(set)s is retired."))


@require_POST
@role_required(Role.INSTRUCTOR, Role.QUALITY)
def criteria_draft(request: UserRequest, set_id: int) -> HttpResponse:
    """The next revision, as a draft that begins as a copy."""
    return _act(request, set_id, services.draft_next_revision, _("%(set)s is a draft to work on."))


def _act_with_proof(
    request: UserRequest, set_id: int, act: Callable[..., CriteriaSet], done: str
) -> HttpResponse:
    """The same, once the user said why and proved who they are."""
    made = access.criteria_set_for_reader(request.user, set_id)
    form = PublishingForm(request.POST)
    if not form.is_valid():
        errors = [str(error) for of_field in form.errors.values() for error in of_field]
        return show_set(request, made, refused=" ".join(errors))
    try:
        proof = prove_identity(request.user, form.cleaned_data["password"])
    except ProofRefused as error:
        return show_set(request, made, refused=str(error))
    return _act(
        request, set_id, partial(act, reason=form.cleaned_data["reason"], proof=proof), done
    )


def _act(
    request: UserRequest, set_id: int, act: Callable[..., CriteriaSet], done: str
) -> HttpResponse:
    made = access.criteria_set_for_reader(request.user, set_id)
    try:
        made = act(criteria_set=made, actor=request.user, at=timezone.now())
    except AssessmentError as error:
        return show_set(request, made, refused=str(error))
    messages.success(request, done % {"set": made})
    return redirect("assessments:criteria_set_detail", made.pk)


def by_stage(made: CriteriaSet, stages: list[Stage], joint_types: set[str]) -> ByStage:
    """The criteria of each stage that has any: of a joint, then of the whole board."""
    criteria: dict[Stage, Any] = {}
    for stage in stages:
        asked = [
            criterion
            for criterion in made.all_criteria
            if criterion.stage == stage.value and joint_types.intersection(criterion.joint_types)
        ]
        if asked:
            criteria[stage] = asked
    return [
        (
            stage,
            [criterion for criterion in asked if criterion.of == Criterion.Of.JOINT],
            [criterion for criterion in asked if criterion.of == Criterion.Of.BOARD],
        )
        for stage, asked in criteria.items()
    ]


def _count(made: CriteriaSet | None, joint_type: JointType) -> int:
    if made is None:
        return 0
    return sum(joint_type.value in criterion.joint_types for criterion in made.all_criteria)
