"""Plans of classes: begun, shown, changed by hand, and carried out."""

import logging
from collections.abc import Mapping

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_htmx.http import HttpResponseClientRefresh
from kombu.exceptions import OperationalError

from certification import access, tasks
from certification.exceptions import CertificationError
from certification.forms.class_plans import ClassPlanForm, choices_sent, version_sent
from certification.models import ClassPlan
from certification.presenters import class_plan_page
from certification.presenters.class_plan_picture import gap_line
from certification.queries import class_plan_facts
from certification.services import class_plans as services
from people.access import UserRequest, role_required, row_number
from people.models import Role
from training.exceptions import TrainingError

log = logging.getLogger(__name__)

PLANS_SHOWN = 20


@require_safe
@role_required(Role.INSTRUCTOR, Role.QUALITY)
def class_plan_list(request: UserRequest) -> HttpResponse:
    """The plans that there are, the newest first."""
    plans = access.class_plans_readable_by(request.user)
    context = {
        "plans": plans.select_related("made_by__person").prefetch_related("sites")[:PLANS_SHOWN],
        "may_plan": request.user.has_role(Role.INSTRUCTOR),
    }
    return render(request, "certification/class_plan_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.INSTRUCTOR)
def class_plan_new(request: UserRequest) -> HttpResponse:
    form = ClassPlanForm(
        request.POST if request.method == "POST" else None,
        sites=access.sites_to_plan_at(request.user),
    )
    if form.is_valid():
        try:
            plan = services.ask_for_plan(**form.cleaned_data, actor=request.user, at=timezone.now())
        except CertificationError as error:
            form.add_error(None, str(error))
        else:
            return _being_worked_out(plan)
    status = 422 if form.is_bound else 200
    return render(request, "certification/class_plan_new.html", {"form": form}, status=status)


def _being_worked_out(plan: ClassPlan) -> HttpResponse:
    transaction.on_commit(_wake)
    return redirect("certification:class_plan_detail", plan.pk)


def _wake() -> None:
    try:
        tasks.work_out_class_plans.delay()
    except (OperationalError, OSError) as error:
        log.info("The next minute finds what was asked for by itself: %s", error)


@require_safe
@login_required
def class_plan_detail(request: UserRequest, plan_id: int) -> HttpResponse:
    plan = access.class_plan_for_reader(request.user, plan_id)
    if plan.finished_at is None or plan.cannot_be_kept:
        part = "partials/class_plan_progress" if request.htmx else "class_plan_waits"
        return render(request, f"certification/{part}.html", _context(request, plan))
    if request.htmx:  # The page that waited has nothing to wait for any more.
        return HttpResponseClientRefresh()
    return _page(request, plan)


def _context(request: UserRequest, plan: ClassPlan) -> dict[str, object]:
    return {
        "plan": plan,
        "sites": list(plan.sites.all()),
        "may_change": access.may_change_class_plan(request.user, plan),
        "zone": request.user.person.site.zone if request.user.person else None,
    }


def _page(
    request: UserRequest,
    plan: ClassPlan,
    *,
    error: str = "",
    choices: Mapping[int, int | None] | None = None,
) -> HttpResponse:
    context = _context(request, plan)
    now_facts = None
    if plan.is_open:
        now_facts = class_plan_facts.read_facts(
            sites=list(plan.sites.all()),
            first_day=plan.first_day,
            through=plan.through,
            travel=plan.travel,
            now=timezone.now(),
        )
    number = (request.POST or request.GET).get("page")
    page = class_plan_page.page_of(plan, now_facts, choices, number)
    lapsed = page.figures[0]
    context |= {
        "page": page,
        "error": error,
        "gap": class_plan_page.gap_words(page),
        "gap_line": gap_line(lapsed.value, lapsed.bound, lapsed.worked_out),
        "may_change": context["may_change"] and plan.is_open,
    }
    status = 422 if error else 200
    return render(request, "certification/class_plan.html", context, status=status)


@require_POST
@login_required
def class_plan_move(request: UserRequest, plan_id: int) -> HttpResponse:
    """Move names as they were chosen, or put one back."""
    plan = access.class_plan_for_instructor(request.user, plan_id)
    choices, version = choices_sent(request.POST, plan), version_sent(request.POST)
    try:
        if "undo" in request.POST:
            services.undo_move(
                plan=plan,
                need_id=row_number(request.POST["undo"]),
                version=version,
                actor=request.user,
            )
            moved = 0
        else:
            moved = services.move_names(
                plan=plan, choices=choices, version=version, actor=request.user
            )
    except CertificationError as error:
        return _refused(request, plan, str(error), choices)
    if moved:
        messages.success(request, _moved_words(moved))
    return _back(request, plan)


def _back(request: UserRequest, plan: ClassPlan) -> HttpResponse:
    """To the same page of the lines."""
    address = reverse("certification:class_plan_detail", args=[plan.pk])
    number = row_number(request.POST.get("page", ""))
    return redirect(f"{address}?page={number}" if number > 1 else address)


def _moved_words(moved: int) -> str:
    return ngettext("%(n)d line is moved.", "%(n)d lines are moved.", moved) % {"n": moved}


def _refused(
    request: UserRequest, plan: ClassPlan, error: str, choices: Mapping[int, int | None]
) -> HttpResponse:
    plan = access.class_plan_for_reader(request.user, plan.pk)
    if plan.finished_at is None or plan.cannot_be_kept:
        context = _context(request, plan) | {"error": error}
        return render(request, "certification/class_plan_waits.html", context, status=422)
    return _page(request, plan, error=error, choices=choices)


@require_POST
@login_required
def class_plan_again(request: UserRequest, plan_id: int) -> HttpResponse:
    """Have it worked out again on what is so now; what was fixed by hand stays."""
    plan = access.class_plan_for_instructor(request.user, plan_id)
    now, sites = timezone.now(), list(plan.sites.all())
    choices = choices_sent(request.POST, plan)
    try:
        with transaction.atomic():
            if plan.is_open and choices:
                services.move_names(
                    plan=plan,
                    choices=choices,
                    version=version_sent(request.POST),
                    actor=request.user,
                )
            again = services.ask_for_plan(
                sites=sites,
                first_day=max(plan.first_day, min(site.today(now) for site in sites)),
                through=plan.through,
                travel=plan.travel,
                actor=request.user,
                at=now,
                again_from=None if plan.cannot_be_kept else plan,
            )
    except CertificationError as error:
        return _refused(request, plan, str(error), choices)
    return _being_worked_out(again)


@require_POST
@login_required
def class_plan_send(request: UserRequest, plan_id: int) -> HttpResponse:
    """Enrol and invite; names that were moved on the page are shown with their cost first."""
    plan = access.class_plan_for_instructor(request.user, plan_id)
    choices, version = choices_sent(request.POST, plan), version_sent(request.POST)
    try:
        moved = services.move_names(plan=plan, choices=choices, version=version, actor=request.user)
        if not moved:
            sent = services.carry_out(
                plan=plan, version=version, actor=request.user, at=timezone.now()
            )
    except (CertificationError, TrainingError) as error:
        return _refused(request, plan, str(error), choices)
    if moved:
        messages.warning(
            request,
            _moved_words(moved) + " " + _("Look at what that costs, then invite them."),
        )
    else:
        messages.success(
            request,
            ngettext(
                "%(n)d person is enrolled and invited.",
                "%(n)d people are enrolled and invited.",
                sent.enrolled,
            )
            % {"n": sent.enrolled},
        )
    return _back(request, plan)
