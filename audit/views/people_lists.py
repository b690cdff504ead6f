"""Bringing a list of people: in, its columns matched, looked at, taken in, and undone."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_htmx.http import HttpResponseClientRefresh

from audit import access
from audit.exceptions import ListChanged, ListTakenIn
from audit.forms.people_lists import (
    AnswersForm,
    ColumnsForm,
    CorrectionsForm,
    TakeInForm,
    UndoForm,
)
from audit.models import PeopleList
from audit.presenters import people_list_page as screens
from audit.queries.list_bringers import bringer_for
from audit.queries.list_leaving import too_many_of_list
from audit.queries.list_plan import Plan, make_plan
from audit.queries.list_undoing import plan_undoing
from audit.services import list_steps, list_undoing
from audit.services import people_lists as services
from people.access import UserRequest, role_required
from people.exceptions import ProofRefused
from people.forms.lists import BringForm
from people.models import Role
from people.services.proof import prove_identity
from records.exceptions import Refusal

PEOPLE_A_PAGE = 100
BRINGERS = (Role.ADMINISTRATOR, Role.QUALITY)


def _zone(request: UserRequest) -> Any:
    person = request.user.person
    return person.site.zone if person else timezone.get_default_timezone()


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*BRINGERS)
def people_list_new(request: UserRequest) -> HttpResponse:
    now = timezone.now()
    form = BringForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        services.forget_expired(now)
        name, content = form.named_content()
        try:
            people_list = services.keep_list(
                name=name,
                content=content,
                bringer=bringer_for(request.user),
                by=request.user,
                at=now,
            )
        except Refusal as error:
            form.add_error(None, str(error))
        else:
            return redirect("audit:people_list_columns", people_list.pk)
    lists = access.people_lists_of(request.user, now)
    context = {"form": form, "lists": lists, "zone": _zone(request)}
    status = 422 if request.method == "POST" else 200
    return render(request, "audit/people_list_new.html", context, status=status)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*BRINGERS)
def people_list_columns(request: UserRequest, list_id: int) -> HttpResponse:
    people_list = access.people_list_for(request.user, list_id, timezone.now())
    if not people_list.is_open:
        return redirect("audit:people_list", people_list.pk)
    columns = screens.columns_shown(people_list)
    form = ColumnsForm(
        request.POST if request.method == "POST" else None,
        columns=len(columns),
        allowed=bringer_for(request.user).fields,
        initial={f"column-{column.place}": column.chosen for column in columns},
    )
    if request.method == "POST" and form.is_valid():
        try:
            services.match_columns(people_list=people_list, columns=form.chosen())
        except ListTakenIn as error:
            messages.info(request, str(error))
        return redirect("audit:people_list", people_list.pk)
    context = {
        "people_list": people_list,
        "form": form,
        "rows": [(column, form[f"column-{column.place}"]) for column in columns],
    }
    status = 422 if form.is_bound else 200
    return render(request, "audit/people_list_columns.html", context, status=status)


@never_cache
@require_safe
@role_required(*BRINGERS)
def people_list(request: UserRequest, list_id: int) -> HttpResponse:
    """What a list would do; once it was taken in, what it did."""
    people_list = access.people_list_for(request.user, list_id, timezone.now())
    if people_list.begun_at is not None:
        return _render_progress(request, people_list)
    if request.htmx and request.htmx.target == "progress":
        return HttpResponseClientRefresh()
    if people_list.taken_in_at is not None:
        return _render_done(request, people_list)
    return _render_plan(request, people_list, _plan(request, people_list))


def _plan(request: UserRequest, people_list: PeopleList) -> Plan:
    return make_plan(people_list, bringer_for(request.user), timezone.now())


def _render_plan(
    request: UserRequest,
    people_list: PeopleList,
    plan: Plan,
    form: AnswersForm | None = None,
    status: int = 200,
) -> HttpResponse:
    rows = screens.faulty_rows(people_list, plan.faults)
    # Who is new or changed comes first: the others are only counted by most who look.
    people = sorted(plan.people, key=lambda one: (one.is_left_alone, not one.is_new))
    page = Paginator(people, PEOPLE_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "people_list": people_list,
        "plan": plan,
        "form": (form or AnswersForm(plan=plan)) if plan.open else None,
        "faulty": rows[: screens.FAULTS_A_PAGE],
        "faulty_count": len(rows),
        "faulty_lines": [row.line for row in rows],
        "summary": screens.summary_of(plan),
        "page": page,
        "people": screens.people_shown(page, plan),
        "digest": plan.digest(),
        "many_leave": too_many_of_list(plan, bringer_for(request.user), timezone.now()),
        "opens_sign_ins": bool(bringer_for(request.user).people_sites),
    }
    return render(request, "audit/people_list.html", context, status=status)


@never_cache
@require_POST
@role_required(*BRINGERS)
def people_list_answers(request: UserRequest, list_id: int) -> HttpResponse:
    """What is said once for all, and rows that are put right or left out."""
    people_list = access.people_list_for(request.user, list_id, timezone.now())
    if not people_list.is_open:
        return redirect("audit:people_list", people_list.pk)
    plan = _plan(request, people_list)
    form = AnswersForm(request.POST, plan=plan)
    corrections = CorrectionsForm(request.POST)
    corrections.is_valid()
    given: dict[str, Any] = {
        "cells": corrections.cleaned_data.get("cells", {}),
        "left_out": corrections.cleaned_data.get("leave_out", ()),
        "brought_back": corrections.cleaned_data.get("bring_back", ()),
    }
    if "bring_all" in request.POST:
        given["brought_back"] = people_list.left_out
    if "all_faulty" in request.POST:
        given["cells"] = {}
        given["left_out"] = sorted({fault.line for fault in plan.faults})
    is_said = form.is_valid()
    try:
        # What was said well is kept where something else was not: nobody types it again.
        services.answer(people_list=people_list, answers=form.answers(), **given)
    except ListTakenIn as error:
        messages.info(request, str(error))
        return redirect("audit:people_list", people_list.pk)
    if not is_said and not any(given.values()):
        return _render_plan(request, people_list, plan, form, status=422)
    return redirect("audit:people_list", people_list.pk)


@never_cache
@require_POST
@role_required(*BRINGERS)
def people_list_take_in(request: UserRequest, list_id: int) -> HttpResponse:
    people_list = access.people_list_for(request.user, list_id, timezone.now())
    form = TakeInForm(request.POST)
    try:
        people_list = services.take_in(
            people_list=people_list,
            bringer=bringer_for(request.user),
            shown=form.cleaned_data["shown"] if form.is_valid() else "",
            sign_ins=bool(form.cleaned_data.get("sign_ins")),
            many_leave=bool(form.cleaned_data.get("many_leave")),
            at=timezone.now(),
        )
    except ListTakenIn as error:
        messages.info(request, str(error))
    except ListChanged as error:
        messages.warning(request, str(error))
    except Refusal as error:
        messages.error(request, str(error))
    else:
        if people_list.begun_at is None:
            messages.success(request, _("The list is taken in."))
    return redirect("audit:people_list", people_list.pk)


def _render_progress(request: UserRequest, people_list: PeopleList) -> HttpResponse:
    context = {
        "people_list": people_list,
        "progress": screens.progress_of(people_list),
        "zone": _zone(request),
    }
    part = "partials/" if request.htmx and request.htmx.target == "progress" else ""
    return render(request, f"audit/{part}people_list_progress.html", context)


@never_cache
@require_POST
@role_required(*BRINGERS)
def people_list_stop(request: UserRequest, list_id: int) -> HttpResponse:
    """Take a list in no further; what is done stays."""
    now = timezone.now()
    people_list = access.people_list_for(request.user, list_id, now)
    try:
        list_steps.stop(people_list=people_list, at=now)
    except ListTakenIn as error:
        messages.info(request, str(error))
    else:
        messages.warning(request, _("It was stopped: what had been done by then stays."))
    return redirect("audit:people_list", people_list.pk)


def _render_done(request: UserRequest, people_list: PeopleList) -> HttpResponse:
    context = {
        "people_list": people_list,
        "counts": screens.counts_shown(people_list),
        "not_done": screens.not_done_shown(people_list),
        "zone": _zone(request),
        "may_undo": people_list.may_be_undone(timezone.now()),
        "to_print": people_list.result["counts"].get("sign_ins", 0)
        - people_list.result["counts"].get("to_mail", 0),
    }
    return render(request, "audit/people_list_done.html", context)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*BRINGERS)
def people_list_undo(request: UserRequest, list_id: int) -> HttpResponse:
    now = timezone.now()
    people_list = access.people_list_for(request.user, list_id, now)
    if not people_list.may_be_undone(now):
        messages.info(request, _("A list is undone once, within a day of being taken in."))
        return redirect("audit:people_list", people_list.pk)
    bringer = bringer_for(request.user)
    form = UndoForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            people_list = list_undoing.undo(
                people_list=people_list,
                bringer=bringer,
                actor=request.user,
                reason=form.cleaned_data["reason"],
                proof=prove_identity(request.user, form.cleaned_data["password"]),
                shown=form.cleaned_data["shown"],
                at=now,
            )
        except ProofRefused as error:
            form.add_error("password", str(error))
        except Refusal as error:
            form.add_error(None, str(error))
        else:
            if people_list.begun_at is None:
                messages.success(request, _("The list is undone."))
            return redirect("audit:people_list", people_list.pk)
    undoing = plan_undoing(people_list, bringer, now)
    context = {
        "people_list": people_list,
        "form": form,
        "undoing": undoing,
        "undone": screens.undone_by_person(undoing),
        "zone": _zone(request),
        "digest": undoing.digest(),
    }
    status = 422 if form.is_bound else 200
    return render(request, "audit/people_list_undo.html", context, status=status)


@never_cache
@require_POST
@role_required(*BRINGERS)
def people_list_throw_away(request: UserRequest, list_id: int) -> HttpResponse:
    people_list = access.people_list_for(request.user, list_id, timezone.now())
    try:
        services.throw_away(people_list=people_list)
    except ListTakenIn as error:
        messages.info(request, str(error))
        return redirect("audit:people_list", people_list.pk)
    messages.success(request, _("The list is thrown away."))
    return redirect("audit:people_list_new")
