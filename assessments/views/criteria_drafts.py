"""A draft of criteria: begun, changed, put in order; by instructors and quality."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments import access
from assessments.domain.criterion_rules import next_code
from assessments.exceptions import AssessmentError, CriterionChangedMeanwhile
from assessments.forms.criteria import (
    CriterionForm,
    DrawingForm,
    ImportForm,
    NewCriterionForm,
    NewSetForm,
    SetForm,
    WhyForm,
)
from assessments.models import CriteriaSet, Criterion, CriterionDrawing
from assessments.presenters.criteria_draft import DraftPage
from assessments.presenters.criteria_files import ENDINGS, criteria_file
from assessments.presenters.limit_picture import boards_said, limit_picture, said
from assessments.queries import criteria_sets, limit_effect
from assessments.services import criteria as services
from assessments.services import criteria_drafts, criteria_files
from assessments.services.photos import plain_name
from people.access import UserRequest, role_required
from people.models import Role
from records.domain.problems import Problem
from training.models import Stage

MEDIA_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv.zip": "application/zip",
    "xlsx.zip": "application/zip",
}
FORM_METHODS = ["GET", "HEAD", "POST"]
DRAFTERS = (Role.INSTRUCTOR, Role.QUALITY)


@require_http_methods(FORM_METHODS)
@role_required(*DRAFTERS)
def criteria_set_new(request: UserRequest) -> HttpResponse:
    """Begin a set of the organisation's own, empty or as a copy."""
    sets = access.criteria_sets_readable_by(request.user)
    form = NewSetForm(request.POST if request.method == "POST" else None, sets=sets)
    if request.method == "POST" and form.is_valid():
        try:
            made = services.begin_criteria_set(
                **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except AssessmentError as error:
            form.add_error("title", str(error))
        else:
            messages.success(request, _("%(set)s is a draft to work on.") % {"set": made})
            return redirect("assessments:criteria_set_detail", made.pk)
    status = 422 if form.is_bound else 200
    return render(request, "assessments/criteria_set_new.html", {"form": form}, status=status)


@require_POST
@role_required(*DRAFTERS)
def criteria_draft(request: UserRequest, set_id: int) -> HttpResponse:
    """The next revision, as a draft that begins as a copy."""
    made = access.criteria_set_for_reader(request.user, set_id)
    try:
        draft = services.draft_next_revision(
            criteria_set=made, actor=request.user, at=timezone.now()
        )
    except AssessmentError as error:
        messages.error(request, str(error))
        going = CriteriaSet.objects.drafts().filter(title=made.title).first()
        return redirect("assessments:criteria_set_detail", going.pk if going else made.pk)
    messages.success(request, _("%(set)s is a draft to work on.") % {"set": draft})
    return redirect("assessments:criteria_set_detail", draft.pk)


def show_draft(
    request: UserRequest,
    made: CriteriaSet,
    *,
    refused: str = "",
    template: str = "criteria_draft",
    status: int = 200,
    **more: Any,
) -> HttpResponse:
    """A draft with its list, and beside it whatever is open."""
    page = DraftPage(made)
    context = {
        "set": made,
        "draft": page,
        "refused": refused,
        "may_publish": request.user.has_role(Role.QUALITY),
        "set_form": SetForm(criteria_set=made),
        "drawing_form": DrawingForm(auto_id="drawing-%s"),
        "discard_form": WhyForm(
            auto_id="discard-%s", initial={"seen": criteria_sets.draft_digest(made)}
        ),
        "own_drawings": CriterionDrawing.objects.defer("data"),
        **more,
    }
    return render(
        request, f"assessments/{template}.html", context, status=422 if refused else status
    )


@require_POST
@role_required(*DRAFTERS)
def criteria_describe(request: UserRequest, set_id: int) -> HttpResponse:
    """What the draft says of itself as a whole."""
    made = access.draft_for_editor(request.user, set_id)
    form = SetForm(request.POST, criteria_set=made)
    if form.is_valid():
        try:
            services.describe_draft(
                criteria_set=made, **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("What changed is saved."))
            return redirect("assessments:criteria_set_detail", set_id)
    return show_draft(request, made, set_form=form, status=422)


@require_POST
@role_required(*DRAFTERS)
def criteria_discard(request: UserRequest, set_id: int) -> HttpResponse:
    """Throw the draft away, with the reason."""
    made = access.draft_for_editor(request.user, set_id)
    form = WhyForm(request.POST, auto_id="discard-%s")
    if form.is_valid():
        try:
            services.discard_draft(
                criteria_set=made, **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The draft of %(set)s is discarded.") % {"set": made})
            return redirect("assessments:criteria_list")
    errors = " ".join(str(error) for of_field in form.errors.values() for error in of_field)
    return show_draft(request, made, refused=errors)


@require_http_methods(FORM_METHODS)
@role_required(*DRAFTERS)
def criterion_add(request: UserRequest, set_id: int) -> HttpResponse:
    """A criterion that the draft does not have yet."""
    made = access.draft_for_editor(request.user, set_id)
    used = criteria_sets.codes_used(made.title)
    stage = request.GET.get("stage", "")
    stage = stage if stage in Stage.values else Stage.SOLDERED.value
    form = NewCriterionForm(
        request.POST if request.method == "POST" else None,
        initial={
            "code": next_code(stage, "joint", used),
            "stage": stage,
            "demerits": 15,
            "document": made.document,
        },
    )
    if request.method == "POST" and form.is_valid():
        try:
            added = criteria_drafts.add_criterion(
                criteria_set=made,
                code=form.cleaned_data["code"],
                **form.changes(),
                actor=request.user,
                at=timezone.now(),
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("%(code)s is added.") % {"code": added.code})
            return redirect("assessments:criterion_edit", set_id, added.code)
    status = 422 if form.is_bound else 200
    return show_draft(request, made, template="criterion_form", status=status, form=form)


@require_http_methods(FORM_METHODS)
@role_required(*DRAFTERS)
def criterion_edit(request: UserRequest, set_id: int, code: str) -> HttpResponse:
    """One criterion of a draft, beside its drawings and what its limits would have done."""
    criterion = access.criterion_for_editor(request.user, set_id, code)
    made = criterion.criteria_set
    earlier = criteria_sets.earlier_of(made)
    before = earlier.criteria.filter(code=code).first() if earlier else None
    form = CriterionForm(
        request.POST if request.method == "POST" else None, criterion=criterion, earlier=before
    )
    if request.method == "POST" and form.is_valid():
        try:
            criteria_drafts.change_criterion(
                criterion=criterion,
                **form.changes(),
                shown=form.cleaned_data["shown"],
                actor=request.user,
                at=timezone.now(),
            )
        except CriterionChangedMeanwhile as error:
            now = access.criterion_for_editor(request.user, set_id, code)
            form.show_theirs(error.now, criteria_sets.state_of(now))
            form.add_error(None, str(error))
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("%(code)s is changed.") % {"code": code})
            return redirect("assessments:criterion_edit", set_id, code)
    return show_criterion(request, criterion, before, form=form)


def show_criterion(
    request: UserRequest,
    criterion: Criterion,
    before: Criterion | None,
    *,
    form: CriterionForm,
    **more: Any,
) -> HttpResponse:
    found = None
    if before is not None and (criterion.low is not None or criterion.high is not None):
        found = limit_effect.effect_of(criterion, before)
    return show_draft(
        request,
        criterion.criteria_set,
        template="criterion_form",
        status=422 if form.is_bound else 200,
        form=form,
        criterion=criterion,
        before=before,
        seen=criteria_sets.digest_of(criterion),
        why_form=WhyForm(auto_id="drop-%s", initial={"seen": criteria_sets.digest_of(criterion)}),
        effect=found,
        effect_said=said(found) if found else "",
        effect_on_boards=boards_said(found) if found else "",
        picture=limit_picture(criterion, before, found)
        if found and before and found.values
        else "",
        **more,
    )


@require_POST
@role_required(*DRAFTERS)
def criterion_drop(request: UserRequest, set_id: int, code: str) -> HttpResponse:
    """Take a criterion out of the draft, with the reason."""
    made = access.draft_for_editor(request.user, set_id)
    if code in made.dropped:  # Pressed twice.
        return redirect("assessments:criteria_set_detail", set_id)
    criterion = access.criterion_for_editor(request.user, set_id, code)
    form = WhyForm(request.POST, auto_id="drop-%s")
    if form.is_valid():
        try:
            criteria_drafts.remove_criterion(
                criterion=criterion, **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("%(code)s is dropped from the draft.") % {"code": code})
            return redirect("assessments:criteria_set_detail", set_id)
    errors = " ".join(str(error) for of_field in form.errors.values() for error in of_field)
    return show_draft(request, criterion.criteria_set, refused=errors)


@require_POST
@role_required(*DRAFTERS)
def criterion_restore(request: UserRequest, set_id: int, code: str) -> HttpResponse:
    """Take a dropped criterion up again."""
    made = access.draft_for_editor(request.user, set_id)
    try:
        criteria_drafts.restore_criterion(
            criteria_set=made, code=code, actor=request.user, at=timezone.now()
        )
    except AssessmentError as error:
        return show_draft(request, made, refused=str(error))
    messages.success(request, _("%(code)s is in the draft again.") % {"code": code})
    return redirect("assessments:criterion_edit", set_id, code)


@require_POST
@role_required(*DRAFTERS)
def criterion_move(request: UserRequest, set_id: int, code: str) -> HttpResponse:
    """Up or down within its stage."""
    criterion = access.criterion_for_editor(request.user, set_id, code)
    try:
        criteria_drafts.move_criterion(
            criterion=criterion,
            earlier=request.POST.get("to") == "earlier",
            actor=request.user,
            at=timezone.now(),
        )
    except AssessmentError as error:
        return show_draft(request, criterion.criteria_set, refused=str(error))
    return redirect("assessments:criterion_edit", set_id, code)


@require_http_methods(FORM_METHODS)
@role_required(*DRAFTERS)
def criteria_import(request: UserRequest) -> HttpResponse:
    """A set as a table becomes a draft, or every problem of the table is listed."""
    form = ImportForm(
        request.POST if request.method == "POST" else None,
        request.FILES or None,
        initial={"title": request.GET.get("title", "")},
    )
    problems: list[Problem] = []
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            made = criteria_files.import_criteria(
                name=plain_name(file.name or ""),
                content=file.read(criteria_files.MOST_BYTES + 1),
                title=form.cleaned_data["title"],
                actor=request.user,
                at=timezone.now(),
            )
        except criteria_files.CriteriaFileRefused as error:
            problems = error.problems
            form.add_error(None, str(error))
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("%(set)s is a draft to work on.") % {"set": made})
            return redirect("assessments:criteria_set_detail", made.pk)
    context = {"form": form, "problems": problems}
    status = 422 if form.is_bound else 200
    return render(request, "assessments/criteria_import.html", context, status=status)


@require_safe
@login_required
def criteria_export(request: UserRequest, set_id: int, ending: str) -> HttpResponse:
    """A set as a file, with its drawings where a zip is asked for."""
    made = access.criteria_set_for_reader(request.user, set_id)
    if ending not in ENDINGS:
        raise Http404
    response = HttpResponse(criteria_file(made, ending), content_type=MEDIA_TYPES[ending])
    name = f"{slugify(made.title) or 'criteria'}-rev-{made.revision}.{ending.rpartition('.')[2]}"
    response["Content-Disposition"] = content_disposition_header(True, name) or "attachment"
    response["X-Content-Type-Options"] = "nosniff"
    return response
