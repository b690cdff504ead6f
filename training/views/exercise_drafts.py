"""A draft of an exercise: begun, changed part by part, discarded; by instructors and quality."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from people.access import READERS, UserRequest, role_required
from people.models import Role
from training import access, ports
from training.exceptions import DraftChangedMeanwhile, TrainingError
from training.forms.exercises import (
    HeadForm,
    NewExerciseForm,
    PasteForm,
    PositionsForm,
    WhyForm,
    as_positions,
    as_runs,
    like_row,
    step_form,
)
from training.forms.rows import DO, Rows, with_value
from training.models import Exercise
from training.presenters import drafts_shown
from training.queries import exercises as queries
from training.services import exercise_drafts as services
from training.services.exercise_publishing import faults_of

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_http_methods(FORM_METHODS)
@role_required(*READERS)
def exercise_new(request: UserRequest) -> HttpResponse:
    """Begin an exercise of the organisation's own, empty or as a copy."""
    exercises = access.exercises_readable_by(request.user).order_by("title", "-revision")
    form = NewExerciseForm(request.POST if request.method == "POST" else None, exercises=exercises)
    if request.method == "POST" and form.is_valid():
        try:
            made = services.begin_exercise(
                **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except TrainingError as error:
            form.add_error("code", str(error))
        else:
            messages.success(
                request, _("%(exercise)s is a draft to work on.") % {"exercise": made.title}
            )
            return redirect("training:exercise_edit", made.code)
    status = 422 if form.is_bound else 200
    return render(request, "training/exercise_new.html", {"form": form}, status=status)


@require_POST
@role_required(*READERS)
def exercise_revise(request: UserRequest, code: str) -> HttpResponse:
    """The next revision, as a draft that begins as a copy; or the draft that there is."""
    exercise = get_object_or_404(access.revisions_readable_by(request.user, code)[:1])
    try:
        services.draft_next_revision(exercise=exercise, actor=request.user, at=timezone.now())
    except TrainingError as error:
        messages.info(request, str(error))
    else:
        messages.success(
            request, _("%(exercise)s is a draft to work on.") % {"exercise": exercise.title}
        )
    return redirect("training:exercise_edit", code)


def _show(
    request: UserRequest, exercise: Exercise, template: str, *, status: int = 200, **more: Any
) -> HttpResponse:
    """A part of a draft, with what the other parts say of themselves."""
    positions = queries.positions_of(exercise)
    context = {
        "exercise": exercise,
        "part": template,
        "joints": len(positions),
        "steps_count": exercise.steps.count(),
        "faults": faults_of(exercise),
        "scopes_said": drafts_shown.scopes_said(one["scope_code"] for one in positions),
        "may_publish": request.user.has_role(Role.QUALITY),
        "discard_form": WhyForm(
            auto_id="discard-%s", initial={"seen": queries.draft_digest(exercise)}
        ),
        **more,
    }
    return render(request, f"training/{template}.html", context, status=status)


@require_http_methods(FORM_METHODS)
@role_required(*READERS)
def exercise_edit(request: UserRequest, code: str) -> HttpResponse:
    """What a draft says beside its positions and steps."""
    exercise = access.draft_for_editor(request.user, code)
    seen = queries.head_digest(exercise)
    form = HeadForm(
        request.POST if request.method == "POST" else None, exercise=exercise, seen=seen
    )
    theirs = []
    if request.method == "POST" and form.is_valid():
        said = form.said()
        try:
            services.change_head(
                exercise=exercise,
                seen=form.cleaned_data["seen"],
                **said,
                actor=request.user,
                at=timezone.now(),
            )
        except DraftChangedMeanwhile as error:
            now = access.draft_for_editor(request.user, code)
            theirs = drafts_shown.lines_changed(
                drafts_shown.head_lines(said),
                drafts_shown.head_lines(queries.head_of(now)),
                timezone.now(),
            )
            form.add_error(None, str(error))
            form.data = with_value(form.data, "seen", queries.head_digest(now))
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("What changed is saved."))
            return redirect("training:exercise_positions", code)
    status = 422 if form.is_bound else 200
    return _show(request, exercise, "exercise_edit", status=status, form=form, theirs=theirs)


@require_http_methods(FORM_METHODS)
@role_required(*READERS)
def exercise_positions(request: UserRequest, code: str) -> HttpResponse:
    """The positions of a draft as a grid, a row for each run that is made alike."""
    exercise = access.draft_for_editor(request.user, code)
    seen = queries.positions_digest(exercise)
    if request.method != "POST":
        rows = Rows(
            PositionsForm, prefix="position", stored=as_runs(queries.positions_of(exercise))
        )
        return _show_positions(request, exercise, rows, seen=seen)
    rows = Rows(PositionsForm, prefix="position", data=request.POST)
    shown = request.POST.get("seen", "")[:64]
    said = request.POST.get(DO, "save")
    if said == "paste":
        return _pasted(request, exercise, rows, seen=shown)
    if said != "save":
        rows.do(said, like_row)
        return _show_positions(request, exercise, rows, seen=shown)
    if not rows.is_valid:
        rows.show_errors()
        refused = _("Something is wrong in %(n)s. Nothing is saved yet.")
        return _show_positions(request, exercise, rows, seen=shown, refused=_wrong(rows, refused))
    positions = as_positions(rows.values())
    try:
        services.change_positions(
            exercise=exercise,
            positions=positions,
            seen=shown,
            actor=request.user,
            at=timezone.now(),
        )
    except DraftChangedMeanwhile as error:
        now = access.draft_for_editor(request.user, code)
        theirs = drafts_shown.lines_changed(
            drafts_shown.position_lines(positions),
            drafts_shown.position_lines(queries.positions_of(now)),
            timezone.now(),
        )
        rows.show_errors()
        return _show_positions(
            request,
            now,
            rows,
            seen=queries.positions_digest(now),
            refused=str(error),
            theirs=theirs,
        )
    except TrainingError as error:
        rows.show_errors()
        return _show_positions(request, exercise, rows, seen=shown, refused=str(error))
    messages.success(request, _("What changed is saved."))
    return redirect("training:exercise_steps", code)


def _wrong(rows: Rows, sentence: str) -> str:
    """Which rows something is wrong in, by the numbers that the page gives them."""
    if rows.too_many:
        return _("These are more rows than %(n)d. Nothing is saved yet.") % {"n": rows.most}
    wrong = [str(number) for number, form in enumerate(rows.forms, start=1) if form.faults]
    return sentence % {"n": _("row %(rows)s") % {"rows": ", ".join(wrong[:20])}}


def _pasted(request: UserRequest, exercise: Exercise, rows: Rows, *, seen: str) -> HttpResponse:
    form = PasteForm(request.POST)
    refused, pasted = "", []
    if form.is_valid():
        try:
            pasted = form.rows()
        except ValidationError as error:
            form.add_error("paste", error)
        else:
            form = PasteForm()
    rows.add(pasted)
    return _show_positions(request, exercise, rows, seen=seen, paste_form=form, refused=refused)


def _show_positions(
    request: UserRequest, exercise: Exercise, rows: Rows, *, seen: str, **more: Any
) -> HttpResponse:
    form = more.pop("paste_form", None) or PasteForm()
    wrong = bool(more.get("refused")) or form.is_bound
    return _show(
        request,
        exercise,
        "exercise_positions",
        status=422 if wrong else 200,
        rows=rows,
        seen=seen,
        paste_form=form,
        scopes=ports.scopes(),
        **more,
    )


@require_http_methods(FORM_METHODS)
@role_required(*READERS)
def exercise_steps(request: UserRequest, code: str) -> HttpResponse:
    """The steps of a draft, stage by stage, each with its source."""
    exercise = access.draft_for_editor(request.user, code)
    seen = queries.steps_digest(exercise)
    stored = queries.steps_of(exercise)
    form = step_form(stored)
    more: dict[str, Any] = {}
    if request.method != "POST":
        rows = Rows(form, prefix="step", stored=stored, most=200)
        return _show(request, exercise, "exercise_steps", rows=rows, seen=seen)
    rows = Rows(form, prefix="step", data=request.POST, most=200)
    shown = request.POST.get("seen", "")[:64]
    said = request.POST.get(DO, "save")
    if said != "save":
        rows.do(said)
        return _show(request, exercise, "exercise_steps", rows=rows, seen=shown)
    if rows.is_valid:
        try:
            services.change_steps(
                exercise=exercise,
                steps=rows.values(),
                seen=shown,
                actor=request.user,
                at=timezone.now(),
            )
        except DraftChangedMeanwhile as error:
            now = access.draft_for_editor(request.user, code)
            shown = queries.steps_digest(now)
            more["theirs"] = drafts_shown.lines_changed(
                drafts_shown.step_lines(rows.values()),
                drafts_shown.step_lines(queries.steps_of(now)),
                timezone.now(),
            )
            more["refused"] = str(error)
        except TrainingError as error:
            more["refused"] = str(error)
        else:
            messages.success(request, _("What changed is saved."))
            return redirect("training:exercise_detail", code)
    rows.show_errors()
    refused = _("Something is wrong in %(n)s. Nothing is saved yet.")
    more.setdefault("refused", _wrong(rows, refused))
    return _show(request, exercise, "exercise_steps", status=422, rows=rows, seen=shown, **more)


@require_POST
@role_required(*READERS)
def exercise_discard(request: UserRequest, code: str) -> HttpResponse:
    """Throw the draft away, with the reason."""
    exercise = access.draft_for_editor(request.user, code)
    form = WhyForm(request.POST, auto_id="discard-%s")
    if form.is_valid():
        try:
            services.discard_draft(
                exercise=exercise, **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except TrainingError as error:
            messages.error(request, str(error))
            return redirect("training:exercise_edit", code)
        messages.success(
            request, _("The draft of %(exercise)s is discarded.") % {"exercise": exercise.title}
        )
        return redirect("training:exercise_list")
    for of_field in form.errors.values():
        for fault in of_field:
            messages.error(request, str(fault))
    return redirect("training:exercise_edit", code)
