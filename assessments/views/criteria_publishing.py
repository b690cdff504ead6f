"""Criteria confirmed by document, published and retired by quality; revisions compared."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments import access
from assessments.exceptions import AssessmentError
from assessments.forms.criteria import (
    ConfirmForm,
    PublishingForm,
    RetiringForm,
    exercise_form,
)
from assessments.models import CriteriaSet
from assessments.presenters.criteria_draft import DraftPage, draft_shown
from assessments.presenters.criteria_words import compare_sets, counted
from assessments.queries import criteria_sets
from assessments.services import criteria as services
from people.access import UserRequest, role_required, row_number
from people.exceptions import ProofRefused
from people.models import Installation, Role
from people.services.proof import prove_identity
from records.exceptions import ShownOtherwise
from training.models import Exercise

from .criteria import show_set

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_http_methods(FORM_METHODS)
@role_required(Role.QUALITY)
def criteria_confirm(request: UserRequest, set_id: int) -> HttpResponse:
    """The criteria of one document, to be ticked as they are read in it."""
    made = access.criteria_set_for_reader(request.user, set_id)
    if not made.is_draft:
        return _published_already(request, made)
    page = DraftPage(made)
    by_document: dict[str, int] = {}
    for criterion in page.unconfirmed:
        by_document[criterion.document] = by_document.get(criterion.document, 0) + 1
    given = request.POST if request.method == "POST" else request.GET
    document = given.get("document", next(iter(by_document), ""))
    of_document = [one for one in made.all_criteria if one.document == document]
    form = ConfirmForm(request.POST if request.method == "POST" else None, criteria=of_document)
    if request.method == "POST" and form.is_valid():
        try:
            confirmed = services.confirm_criteria(
                criteria_set=made,
                **form.cleaned_data,
                seen=form.seen(),
                actor=request.user,
                at=timezone.now(),
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            text = ngettext(
                "%(n)d criterion is confirmed.", "%(n)d criteria are confirmed.", confirmed
            )
            messages.success(request, text % {"n": confirmed})
            if request.POST.get("one"):
                return redirect("assessments:criterion_edit", set_id, request.POST["one"])
            return redirect("assessments:criteria_confirm", set_id)
    editions = {one.edition for one in of_document if one.edition}
    context = {
        "set": made,
        "draft": page,
        "form": form,
        "document": document,
        "documents": list(by_document.items()),
        "edition": form.data.get("edition", "") if form.is_bound else " ".join(editions),
        "ticked": form.ticked,
        "lines": [
            {
                "criterion": one,
                "digest": criteria_sets.digest_of(one),
                "waits": one in page.unconfirmed and one.confirmed_by_id != request.user.pk,
                "is_mine": one in page.unconfirmed and one.confirmed_by_id == request.user.pk,
            }
            for one in of_document
        ],
    }
    status = 422 if form.is_bound else 200
    return render(request, "assessments/criteria_confirm.html", context, status=status)


@require_http_methods(FORM_METHODS)
@role_required(Role.QUALITY)
def criteria_publish(request: UserRequest, set_id: int) -> HttpResponse:
    """What a draft changes, what is left to confirm, and publishing it."""
    made = access.criteria_set_for_reader(request.user, set_id)
    if not made.is_draft:
        return _published_already(request, made)
    form = PublishingForm(
        request.POST if request.method == "POST" else None,
        showing=draft_shown(made, timezone.now()),
    )
    if request.method == "POST" and form.is_valid():
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            published = services.publish_criteria_set(
                criteria_set=made,
                reason=form.cleaned_data["reason"],
                shown=form.shown_digest,
                proof=proof,
                actor=request.user,
                at=timezone.now(),
            )
        except ShownOtherwise:
            made = access.criteria_set_for_reader(request.user, set_id)
            form.show_anew(draft_shown(made, timezone.now()))
        except ProofRefused as error:
            form.add_error("password", str(error))
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request, _("%(set)s is published: boards go by it.") % {"set": published}
            )
            return redirect("assessments:criteria_set_detail", set_id)
    context = {
        "set": made,
        "draft": DraftPage(made),
        "form": form,
        "is_demo": Installation.is_demo(),
        "naming": criteria_sets.exercises_naming(made.title),
    }
    status = 422 if form.is_bound else 200
    return render(request, "assessments/criteria_publish.html", context, status=status)


def _published_already(request: UserRequest, made: CriteriaSet) -> HttpResponse:
    """Pressed twice, or opened before somebody else published: the set as it is now."""
    messages.info(
        request,
        _("%(set)s is published and never changes. Draft the next revision.") % {"set": made},
    )
    return redirect("assessments:criteria_set_detail", made.pk)


@require_POST
@role_required(Role.QUALITY)
def criteria_retire(request: UserRequest, set_id: int) -> HttpResponse:
    made = access.criteria_set_for_reader(request.user, set_id)
    form = RetiringForm(request.POST)
    if not form.is_valid():
        errors = [str(error) for of_field in form.errors.values() for error in of_field]
        return show_set(request, made, refused=" ".join(errors))
    try:
        proof = prove_identity(request.user, form.cleaned_data["password"])
        made = services.retire_criteria_set(
            criteria_set=made,
            reason=form.cleaned_data["reason"],
            proof=proof,
            actor=request.user,
            at=timezone.now(),
        )
    except (ProofRefused, AssessmentError) as error:
        return show_set(request, made, refused=str(error))
    messages.success(request, _("%(set)s is retired.") % {"set": made})
    return redirect("assessments:criteria_set_detail", made.pk)


@require_safe
@login_required
def criteria_compare(request: UserRequest, set_id: int) -> HttpResponse:
    """What differs between two revisions of one title, in words."""
    readable = access.criteria_sets_readable_by(request.user)
    made = get_object_or_404(readable, pk=set_id)
    others = list(readable.filter(title=made.title).exclude(pk=made.pk).order_by("-revision"))
    asked = request.GET.get("with", "")
    if asked:
        pk = row_number(asked)
        other: CriteriaSet | None = get_object_or_404(readable, pk=pk, title=made.title)
    else:
        earlier = criteria_sets.earlier_of(made)
        other = earlier if earlier in others else next(iter(others), None)
    rows = compare_sets(other, made) if other and other != made else []
    context = {
        "set": made,
        "other": other,
        "others": others,
        "rows": rows,
        "counted": counted(rows),
    }
    return render(request, "assessments/criteria_compare.html", context)


@require_http_methods(["POST"])
@role_required(Role.QUALITY)
def exercise_criteria_choose(request: UserRequest, code: str) -> HttpResponse:
    """Which set the boards of an exercise begin with from now on."""
    exercise = get_object_or_404(Exercise.objects.filter(code=code).order_by("-revision")[:1])
    form = exercise_form(exercise, request.POST)
    if not form.is_valid():
        messages.error(request, _("Choose one of the published sets."))
        return redirect("assessments:exercise_criteria", code)
    try:
        services.choose_for_exercise(
            exercise=exercise, **form.cleaned_data, actor=request.user, at=timezone.now()
        )
    except AssessmentError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("What changed is saved."))
    return redirect("assessments:exercise_criteria", code)
