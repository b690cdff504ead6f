"""A draft of a course: begun, changed with its lessons, discarded, published, retired."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from people.access import READERS, UserRequest, role_required
from people.exceptions import ProofRefused
from people.forms.signing import ListedItem
from people.models import Role
from people.services.proof import prove_identity
from records.domain.shown import Change
from records.exceptions import ShownOtherwise
from training import access
from training.exceptions import DraftChangedMeanwhile, TrainingError
from training.forms.course_drafts import (
    CourseHeadForm,
    NewCourseForm,
    hours_in_all,
    lesson_form,
)
from training.forms.exercises import PublishingForm, RetiringForm, WhyForm
from training.forms.rows import DO, Rows, with_value
from training.models import Course, CourseRevision, Exercise
from training.presenters import drafts_shown
from training.queries import courses as queries
from training.services import course_drafts as services

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_http_methods(FORM_METHODS)
@role_required(*READERS)
def course_new(request: UserRequest) -> HttpResponse:
    """Begin a course of the organisation's own."""
    form = NewCourseForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            made = services.begin_course(**form.cleaned_data, actor=request.user, at=timezone.now())
        except TrainingError as error:
            form.add_error("code", str(error))
        else:
            messages.success(request, _("%(course)s is a draft to work on.") % {"course": made})
            return redirect("training:course_edit", made.course.code)
    status = 422 if form.is_bound else 200
    return render(request, "training/course_new.html", {"form": form}, status=status)


@require_POST
@role_required(*READERS)
def course_revise(request: UserRequest, code: str) -> HttpResponse:
    """The next revision, as a draft that begins as a copy; or the draft that there is."""
    course = get_object_or_404(Course, code=code)
    try:
        made = services.draft_next_revision(course=course, actor=request.user, at=timezone.now())
    except TrainingError as error:
        messages.info(request, str(error))
    else:
        messages.success(request, _("%(course)s is a draft to work on.") % {"course": made})
    return redirect("training:course_edit", code)


@require_http_methods(FORM_METHODS)
@role_required(*READERS)
def course_edit(request: UserRequest, code: str) -> HttpResponse:
    """A draft of a course with its lessons as a grid."""
    revision = access.course_draft_for_editor(request.user, code)
    stored = queries.lessons_of(revision)
    named = {lesson["exercise_id"] for lesson in stored}
    exercises = Exercise.objects.filter(Q(retired_at__isnull=True) | Q(pk__in=named))
    row_form = lesson_form(exercises.order_by("title", "revision"))
    seen = queries.draft_digest(revision)
    if request.method != "POST":
        rows = Rows(row_form, prefix="lesson", stored=stored, most=services.MOST_LESSONS)
        form = CourseHeadForm(revision=revision, seen=seen)
        return _show(request, revision, form, rows)
    rows = Rows(row_form, prefix="lesson", data=request.POST, most=services.MOST_LESSONS)
    form = CourseHeadForm(request.POST, revision=revision, seen=seen)
    said = request.POST.get(DO, "save")
    if said != "save":
        rows.do(said)
        return _show(request, revision, form, rows)
    # Both are asked, so that the page says all that is wrong at once.
    if all([form.is_valid(), rows.is_valid]):
        return _save(request, revision, form, rows)
    rows.show_errors()
    if any(row.faults for row in rows.forms) or rows.too_many:
        form.add_error(None, _("Something is wrong in a lesson. Nothing is saved yet."))
    return _show(request, revision, form, rows, status=422)


def _save(
    request: UserRequest, revision: CourseRevision, form: CourseHeadForm, rows: Rows
) -> HttpResponse:
    said, lessons = form.said(), rows.values()
    theirs: list[Change] = []
    try:
        services.change_course_draft(
            revision=revision,
            lessons=lessons,
            seen=form.cleaned_data["seen"],
            **said,
            actor=request.user,
            at=timezone.now(),
        )
    except DraftChangedMeanwhile as error:
        now = access.course_draft_for_editor(request.user, revision.course.code)
        titles = dict(Exercise.objects.values_list("pk", "title"))
        theirs = drafts_shown.lines_changed(
            drafts_shown.course_lines(said, lessons, titles),
            drafts_shown.revision_lines(now),
            timezone.now(),
        )
        form.add_error(None, str(error))
        form.data = with_value(form.data, "seen", queries.draft_digest(now))
    except TrainingError as error:
        form.add_error(None, str(error))
    else:
        messages.success(request, _("What changed is saved."))
        return redirect("training:course_edit", revision.course.code)
    rows.show_errors()
    return _show(request, revision, form, rows, status=422, theirs=theirs)


def _show(
    request: UserRequest,
    revision: CourseRevision,
    form: CourseHeadForm,
    rows: Rows,
    *,
    status: int = 200,
    **more: Any,
) -> HttpResponse:
    context = {
        "revision": revision,
        "course": revision.course,
        "form": form,
        "rows": rows,
        "minutes": hours_in_all(queries.lessons_of(revision)),
        "faults": services.course_faults(revision),
        "scopes_said": drafts_shown.scopes_said(revision.scope_codes),
        "may_publish": request.user.has_role(Role.QUALITY),
        "discard_form": WhyForm(
            auto_id="discard-%s", initial={"seen": queries.draft_digest(revision)}
        ),
        **more,
    }
    return render(request, "training/course_edit.html", context, status=status)


@require_POST
@role_required(*READERS)
def course_discard(request: UserRequest, code: str) -> HttpResponse:
    """Throw the draft away, with the reason."""
    revision = access.course_draft_for_editor(request.user, code)
    form = WhyForm(request.POST, auto_id="discard-%s")
    if form.is_valid():
        try:
            services.discard_course_draft(
                revision=revision, **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except TrainingError as error:
            messages.error(request, str(error))
            return redirect("training:course_edit", code)
        messages.success(request, _("The draft of %(course)s is discarded.") % {"course": revision})
        return redirect("training:course_list")
    for of_field in form.errors.values():
        for fault in of_field:
            messages.error(request, str(fault))
    return redirect("training:course_edit", code)


# Published and retired by quality


@dataclass(frozen=True, slots=True)
class Draft:
    """A draft on the page that publishes: what it changes, and what is missing of it."""

    revision: CourseRevision
    earlier: CourseRevision | None
    differences: list[Change]
    faults: list[str]
    scopes_said: str
    item: ListedItem | None


def _form(request: UserRequest, drafts: list[CourseRevision], at: datetime) -> PublishingForm:
    showing = {
        str(draft.pk): drafts_shown.course_shown(draft, at)
        for draft in drafts
        if not services.course_faults(draft)
    }
    return PublishingForm(request.POST if request.method == "POST" else None, showing=showing)


@require_http_methods(FORM_METHODS)
@role_required(Role.QUALITY)
def course_publish(request: UserRequest) -> HttpResponse:
    """The drafts, or the one that ``?course=`` names, each with what it changes."""
    at = timezone.now()
    code = request.GET.get("course", "")[:24]
    found = CourseRevision.objects.drafts().select_related("course").order_by("course__code")
    drafts = list(found.filter(course__code=code) if code else found)
    form = _form(request, drafts, at)
    if request.method == "POST" and form.is_valid():
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            published = services.publish_courses(
                drafts={int(key): digest for key, digest in form.to_sign.items()},
                actor=request.user,
                at=at,
                reason=form.cleaned_data["reason"],
                proof=proof,
            )
        except ShownOtherwise:
            form = _form(request, drafts, at)
            form.is_valid()
        except ProofRefused as error:
            form.add_error("password", str(error))
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            text = ngettext(
                "%(n)d course is published: classes are planned of it.",
                "%(n)d courses are published: classes are planned of them.",
                len(published),
            )
            messages.success(request, text % {"n": len(published)})
            return redirect("training:course_list")
    context = {"form": form, "code": code, "drafts": [_listed(one, form, at) for one in drafts]}
    status = 422 if form.is_bound else 200
    return render(request, "training/course_publish.html", context, status=status)


def _listed(draft: CourseRevision, form: PublishingForm, at: datetime) -> Draft:
    key = str(draft.pk)
    return Draft(
        draft,
        queries.earlier_of(draft),
        drafts_shown.course_differences(draft, at),
        services.course_faults(draft),
        drafts_shown.scopes_said(draft.scope_codes),
        form.item(key) if key in form.showing else None,
    )


@require_POST
@role_required(Role.QUALITY)
def course_retire(request: UserRequest, code: str, revision: int) -> HttpResponse:
    """Plan no more classes of a course, with the reason and a proof."""
    found = CourseRevision.objects.published().select_related("course")
    made = get_object_or_404(found, course__code=code, revision=revision)
    form = RetiringForm(request.POST)
    if form.is_valid():
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            services.retire_course(
                revision=made,
                reason=form.cleaned_data["reason"],
                proof=proof,
                actor=request.user,
                at=timezone.now(),
            )
        except (ProofRefused, TrainingError) as error:
            messages.error(request, str(error))
        else:
            messages.success(request, _("%(course)s is out of use.") % {"course": made})
    for of_field in form.errors.values():
        for fault in of_field:
            messages.error(request, str(fault))
    return redirect("training:course_detail", code)
