"""Criteria as they are read: by everyone; drafts by whoever works on them."""

from typing import Any

from django.contrib.auth.decorators import login_required
from django.db.models import Count, Q
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from assessments import access
from assessments.forms.criteria import RetiringForm, exercise_form
from assessments.models import CriteriaSet, Criterion
from assessments.queries import criteria_sets
from people.access import UserRequest, row_number
from people.models import Role
from training import access as training_access
from training.models import JointType, Stage

from .criteria_drafts import show_draft

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
    current = criteria_sets.default_set()
    counted = [
        (joint_type, DRAWINGS[joint_type], _count(current, joint_type)) for joint_type in JointType
    ]
    # Of what is published, what nobody confirmed; of a draft, what still has to be.
    waiting = Q(criteria__confirmed_at__isnull=True) | Q(
        criteria_sets.unconfirmed_rows("criteria__"), published_at__isnull=True
    )
    sets = (
        access.criteria_sets_readable_by(request.user)
        .annotate(
            criteria_count=Count("criteria"),
            unverified_count=Count("criteria", filter=waiting),
        )
        .order_by("title", "-revision")
    )
    context = {
        "current": current,
        "joint_types": [counts for counts in counted if counts[2]],
        "sets": sets,
        # Whoever reads no draft is told that there is one all the same, and what it waits for.
        "has_draft": CriteriaSet.objects.drafts().exists(),
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
        chosen = get_object_or_404(readable, pk=row_number(asked))
    else:
        default = criteria_sets.default_set()
        if default is None:
            raise Http404
        chosen = default
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
    asked = request.GET.get("revision", "")
    exercise = training_access.revision_for_reader(request.user, code, asked)
    current = criteria_sets.set_for(exercise.code)
    joint_types = set(exercise.positions.values_list("joint_type", flat=True))
    context = {
        "exercise": exercise,
        "set": current,
        "stages": by_stage(current, exercise.stage_list, joint_types) if current else [],
        "several_types": len(joint_types) > 1,
        "choice_form": exercise_form(exercise) if request.user.has_role(Role.QUALITY) else None,
    }
    page = "partials/exercise_criteria" if request.htmx else "criteria_exercise"
    return render(request, f"assessments/{page}.html", context)


@require_safe
@login_required
def criteria_set_detail(request: UserRequest, set_id: int) -> HttpResponse:
    """A set as a whole; a draft opens as whoever works on it needs it."""
    made = access.criteria_set_for_reader(request.user, set_id)
    return show_draft(request, made) if made.is_draft else show_set(request, made)


def show_set(request: UserRequest, made: CriteriaSet, refused: str = "") -> HttpResponse:
    """A published or retired set as a whole, with what the user may do to it."""
    user = request.user
    unverified = [criterion for criterion in made.all_criteria if not criterion.is_verified]
    context = {
        "set": made,
        "stages": by_stage(made, list(Stage), set(JointType.values)),
        "unverified": len(unverified),
        "may_draft": user.has_role(Role.INSTRUCTOR, Role.QUALITY),
        "may_publish": user.has_role(Role.QUALITY),
        # The only published set retires by being replaced.
        "may_retire": made.retired_at is None
        and CriteriaSet.objects.current().exclude(pk=made.pk).exists(),
        "earlier": criteria_sets.earlier_of(made),
        "naming": criteria_sets.exercises_naming(made.title),
        "refused": refused,
        "publishing_form": RetiringForm(auto_id="retire-%s"),
    }
    return render(request, "assessments/criteria_set.html", context, status=422 if refused else 200)


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
