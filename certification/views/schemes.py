"""Schemes as they are read by everybody, and drafted by instructors and quality."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from certification import access
from certification.exceptions import CertificationError, ChangedMeanwhile
from certification.forms.schemes import (
    DiscardForm,
    DraftForm,
    FiguresForm,
    NewSchemeForm,
    RetireSchemeForm,
    asked_lines,
)
from certification.models import SchemeRevision
from certification.presenters import scheme_page
from certification.queries import scheme_drafts as queries
from certification.queries import scheme_faults
from certification.services import scheme_drafts as services
from certification.services import starter
from people.access import UserRequest, role_required, today_for

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_safe
@login_required
def scheme_list(request: UserRequest) -> HttpResponse:
    """Every scheme with its revisions, and what can be begun."""
    may_draft = access.may_draft(request.user)
    context = {
        "revisions": queries.revisions_listed(with_drafts=may_draft),
        "may_draft": may_draft,
        "may_publish": access.may_publish(request.user),
    }
    return render(request, "certification/scheme_list.html", context)


@require_http_methods(FORM_METHODS)
@role_required(*access.DRAFTERS)
def scheme_new(request: UserRequest) -> HttpResponse:
    """Begin a scheme of the organisation's own."""
    form = NewSchemeForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        source = data["copied_from"]
        try:
            draft = services.draft_of(source) if source else starter.usual_figures(data["title"])
            made = services.begin_scheme(
                code=data["code"],
                draft=services.retitled(draft, data["title"]),
                actor=request.user,
                at=timezone.now(),
            )
        except CertificationError as error:
            form.add_error("code", str(error))
        else:
            messages.success(request, _("%(name)s is a draft to work on.") % {"name": made})
            return redirect("certification:scheme_detail", made.pk)
    status = 422 if form.is_bound else 200
    return render(request, "certification/scheme_new.html", {"form": form}, status=status)


@require_POST
@role_required(*access.DRAFTERS)
def scheme_starter(request: UserRequest) -> HttpResponse:
    """Take in the scopes and schemes that come along, as drafts."""
    if not access.may_publish(request.user):
        messages.error(request, _("Scopes are kept by quality: ask them to take the starter in."))
        return redirect("certification:scheme_list")
    loaded = starter.load_starter(actor=request.user, at=timezone.now())
    messages.success(request, loaded.said())
    return redirect("certification:scheme_list")


@require_safe
@login_required
def scheme_detail(request: UserRequest, revision_id: int) -> HttpResponse:
    """A revision as it is read; a draft opens as whoever works on it needs it."""
    revision = access.revision_for_reader(request.user, revision_id)
    if revision.is_draft:
        return show_draft(request, revision)
    return show_revision(request, revision)


def show_revision(
    request: UserRequest, revision: SchemeRevision, *, retire_form: RetireSchemeForm | None = None
) -> HttpResponse:
    """A published revision with what the user may do to it."""
    user = request.user
    may_draft = access.may_draft(user)
    revisions = SchemeRevision.objects.filter(scheme=revision.scheme).order_by("-revision")
    if not may_draft:
        revisions = revisions.filter(published_at__isnull=False)
    context = {
        "revision": revision,
        "revisions": revisions,
        "draft": next((one for one in revisions if one.is_draft), None),
        "figures": scheme_page.revision_said(revision, today_for(user)),
        "scopes": scheme_page.scopes_said(revision),
        "earlier": queries.earlier_of(revision),
        "differences": scheme_page.draft_differences(revision),
        "may_draft": may_draft,
        "may_publish": access.may_publish(user),
        "left_without": [] if revision.retired_at else queries.left_without_scheme(revision),
        "retire_form": retire_form or RetireSchemeForm(auto_id="retire-%s"),
    }
    status = 422 if retire_form is not None else 200
    return render(request, "certification/scheme_detail.html", context, status=status)


def show_draft(
    request: UserRequest,
    revision: SchemeRevision,
    *,
    form: DraftForm | None = None,
    lines: Any = None,
    discard_form: DiscardForm | None = None,
) -> HttpResponse:
    """A draft with its form, its differences and what is left until it is published."""
    is_sent = form is not None or discard_form is not None
    seen = queries.draft_digest(revision)
    form = form or _draft_form(revision)
    context = {
        "revision": revision,
        "form": form,
        "lines": lines or asked_lines(revision),
        "figures": scheme_page.revision_said(revision, today_for(request.user)),
        "day": today_for(request.user),
        "earlier": queries.earlier_of(revision),
        "differences": scheme_page.draft_differences(revision),
        "faults": scheme_faults.faults_of(revision),
        "remarks": scheme_faults.remarks_on(revision),
        "may_publish": access.may_publish(request.user),
        "discard_form": discard_form or DiscardForm(auto_id="discard-%s", initial={"seen": seen}),
    }
    status = 422 if is_sent else 200
    return render(request, "certification/scheme_draft.html", context, status=status)


@require_POST
@role_required(*access.DRAFTERS)
def scheme_change(request: UserRequest, revision_id: int) -> HttpResponse:
    """Save what a draft says."""
    revision = access.revision_for_reader(request.user, revision_id)
    if not revision.is_draft:
        return published_already(request, revision)
    form = _draft_form(revision, request.POST)
    lines = asked_lines(revision, request.POST)
    if form.is_valid() and lines.is_valid():
        try:
            stale = services.change_draft(
                revision=revision,
                draft=form.draft(lines.requirements()),
                seen=form.cleaned_data["seen"],
                actor=request.user,
                at=timezone.now(),
            )
        except ChangedMeanwhile as error:
            typed = form.state(lines.requirements())
            revision = access.revision_for_reader(request.user, revision_id)
            form = _draft_form(revision, _with_seen(request.POST, queries.draft_digest(revision)))
            for sentence in (str(error), *scheme_page.stands_now(revision, typed)):
                form.add_error(None, sentence)
        except CertificationError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("What changed is saved."))
            if stale:
                names = [str(scheme_page.LABELS[name]) for name in stale]
                messages.info(
                    request,
                    _("The source went with the figure that it spoke of: %(names)s.")
                    % {"names": get_text_list(names, _("and"))},
                )
            return redirect("certification:scheme_detail", revision_id)
    elif lines.non_form_errors():
        form.add_error(None, lines.non_form_errors()[0])
    return show_draft(request, revision, form=form, lines=lines)


def _draft_form(revision: SchemeRevision, data: Any = None) -> DraftForm:
    is_known = services.has_been_published(revision.scheme)
    return DraftForm(data, revision=revision, title_stays=is_known)


def _with_seen(data: Any, seen: str) -> Any:
    """What was sent, as if its page had shown what stands there now."""
    changed = data.copy()
    changed["seen"] = seen
    return changed


@require_POST
@role_required(*access.DRAFTERS)
def scheme_next(request: UserRequest, revision_id: int) -> HttpResponse:
    """The next revision, as a draft that begins as a copy."""
    revision = access.revision_for_reader(request.user, revision_id)
    try:
        draft = services.draft_next_revision(
            revision=revision, actor=request.user, at=timezone.now()
        )
    except CertificationError as error:
        messages.error(request, str(error))
        going = SchemeRevision.objects.drafts().filter(scheme=revision.scheme_id).first()
        return redirect("certification:scheme_detail", going.pk if going else revision.pk)
    messages.success(request, _("%(name)s is a draft to work on.") % {"name": draft})
    return redirect("certification:scheme_detail", draft.pk)


@require_POST
@role_required(*access.DRAFTERS)
def scheme_discard(request: UserRequest, revision_id: int) -> HttpResponse:
    """Throw a draft away, with the reason."""
    revision = access.revision_for_reader(request.user, revision_id)
    if not revision.is_draft:
        return published_already(request, revision)
    form = DiscardForm(request.POST, auto_id="discard-%s")
    if form.is_valid():
        try:
            services.discard_draft(
                revision=revision, **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except CertificationError as error:
            messages.error(request, str(error))
            return redirect("certification:scheme_detail", revision_id)
        messages.success(request, _("%(name)s is discarded.") % {"name": revision})
        return redirect("certification:scheme_list")
    return show_draft(request, revision, discard_form=form)


@require_safe
@role_required(*access.DRAFTERS)
def scheme_example(request: UserRequest) -> HttpResponse:
    """What the figures come to that are being typed: a part of the draft's page."""
    form = FiguresForm(request.GET)
    context: dict[str, Any] = {"figures": [], "day": today_for(request.user)}
    if form.is_valid():
        data = form.cleaned_data
        context["figures"] = scheme_page.figures_said(
            form.figures(),
            data["reminder_steps"],
            instructor_may_issue=data["instructor_may_issue"],
            grader_needs_standing=data["grader_needs_standing"],
            day=context["day"],
            path=form.path(),
            written_test=data["written_test"],
            written_test_months=data["written_test_months"],
        )
    page = "partials/scheme_example" if request.htmx else "scheme_example"
    return render(request, f"certification/{page}.html", context)


def published_already(request: UserRequest, revision: SchemeRevision) -> HttpResponse:
    """Pressed twice, or opened before somebody else published: the revision as it is now."""
    messages.info(
        request,
        _("%(name)s is published and never changes. Draft the next revision.") % {"name": revision},
    )
    return redirect("certification:scheme_detail", revision.pk)
