"""One fact each of many people or tools, in one act.

Sent, a grid records the rows that fit. The others stay with what was chosen in them and the
sentence that says why; without any the grid is opened anew, so that loading it again sends nothing.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from people import access as people_access
from people.access import READERS, UserRequest, role_required
from people.models import Role, Site, User
from people.models.people import PersonQuerySet
from people.queries.site_days import Days
from people.views.person_forms import FORM_METHODS, post_data
from training import access, ports
from training.forms import grids as forms
from training.presenters import grids as presenters
from training.presenters.grids import GridRow
from training.queries import grids as queries
from training.services import grids as services
from training.services.outcomes import Outcome


@dataclass(frozen=True)
class Sent:
    """What was chosen in a grid that was sent, and what became of it.

    Attributes
    ----------
    chosen : mapping of int to (str, str)
        By row what was chosen, and what else was said in it.
    outcome : Outcome or None
        None where nothing was tried, since what is said once for all does not hold.
    done : str
        What was recorded, in words.
    """

    chosen: Mapping[int, tuple[str, str]]
    outcome: Outcome | None = None
    done: str = ""

    @property
    def recorded(self) -> set[int]:
        return {*self.outcome.recorded, *self.outcome.already} if self.outcome else set()

    @property
    def kept(self) -> set[int]:
        """Rows that are shown again whatever the list is narrowed to."""
        return set(self.chosen) - self.recorded

    @property
    def fits(self) -> bool:
        return self.outcome is not None and not self.outcome.refused


@require_http_methods(FORM_METHODS)
@role_required(*READERS)
def vision_grid(request: UserRequest) -> HttpResponse:
    """Vision tests of one day: who passed and who did not."""
    user, people = request.user, access.people_tested_by(request.user)
    days = _days(user, people)
    last = queries.last_test_by(user)
    once = forms.VisionOnceForm(
        post_data(request),
        initial={
            "tested_on": days.day,
            "examiner": last.examiner if last else "",
            "method": last.method if last else "",
        },
    )
    results = forms.vision_results(request.POST)
    sent = Sent(
        {
            key: ("pass" if result.passed else "fail", "on" if result.with_lenses else "")
            for key, result in results.items()
        }
    )
    if _holds(once, results, _("Choose pass or fail of somebody first.")):
        before = ports.certified(results, days)
        outcome = services.record_vision_tests(
            results=results, people=people, **once.cleaned_data, actor=user, at=timezone.now()
        )
        passed = [results[key].passed for key in outcome.recorded]
        what = presenters.counted(
            (presenters.passes, passed.count(True)), (presenters.fails, passed.count(False))
        )
        done = presenters.done_sentence(what, once.cleaned_data["tested_on"], outcome)
        changed = presenters.change_sentence(
            before, ports.certified(results, days), outcome.recorded
        )
        sent = Sent(sent.chosen, outcome, f"{done} {changed}".strip())
    if sent.fits:
        return _anew(request, sent)
    filters = forms.PeopleFilterForm(
        request.GET, people=people, sessions=access.sessions_readable_by(user), days=days
    )
    listed = queries.narrowed(people, filters.chosen(), days).exclude(pk__in=sent.recorded)
    everybody, in_list = (
        queries.by_vision_test(rows.with_list_columns(), days) for rows in (people, listed)
    )
    shown = queries.rows_shown(everybody, in_list, sent.kept)
    words = presenters.words_for_script(
        {"pass": presenters.passes, "fail": presenters.fails},
        record=_("Record {what} of {day}"),
        nothing=_("Nothing is chosen yet"),
        day_field="tested_on",
    )
    context = {
        "title": _("Vision tests"),
        "filters_label": _("Find people"),
        "filters": filters,
        "listed": listed.count(),
        "today": days.day,
        "words": words,
    }
    rows = presenters.vision_rows(shown, days.day)
    return _show(request, "training/vision_grid.html", once, rows, sent, context)


@require_http_methods(FORM_METHODS)
@role_required(Role.LINE_LEAD, *READERS)
def work_grid(request: UserRequest) -> HttpResponse:
    """Who did some work: what keeps certificates alive, confirmed of many at once."""
    user, people = request.user, access.people_confirmed_by(request.user)
    days, scopes = _days(user, people), ports.scopes()
    scope_code = _scope_meant(request, scopes, people, days)
    once = forms.WorkOnceForm(
        post_data(request),
        scopes=scopes,
        initial={"performed_on": days.day, "scope_code": scope_code},
    )
    ticked = forms.keys_ticked(request.POST, "who")
    sent = Sent(dict.fromkeys(ticked, ("on", "")))
    if _holds(once, ticked, _("Tick who did the work first.")):
        before = ports.certified(ticked, days)
        outcome = services.record_work(
            person_keys=ticked,
            people=people,
            **once.cleaned_data,
            actor=user,
            at=timezone.now(),
        )
        what = presenters.counted((presenters.workers, len(outcome.recorded)))
        done = presenters.done_sentence(
            _("practice of %(people)s on %(unit)s")
            % {"people": what, "unit": once.cleaned_data["reference"]},
            once.cleaned_data["performed_on"],
            outcome,
        )
        changed = presenters.change_sentence(
            before, ports.certified(ticked, days), outcome.recorded
        )
        sent = Sent(sent.chosen, outcome, f"{done} {changed}".strip())
    if sent.fits:
        return _anew(request, sent)
    filters = forms.WorkFilterForm(
        {**request.GET.dict(), "scope": scope_code},
        people=people,
        sessions=access.sessions_readable_by(user),
        days=days,
        scopes=scopes,
    )
    listed = queries.narrowed(people, filters.chosen(), days).exclude(pk__in=sent.recorded)
    everybody, in_list = (
        queries.by_practice(rows.with_list_columns(), scope_code) for rows in (people, listed)
    )
    shown = queries.rows_shown(everybody, in_list, sent.kept)
    words = presenters.words_for_script(
        {"on": presenters.workers},
        record=_("Record practice of {what} on {also}, {day}"),
        nothing=_("Nobody is ticked yet"),
        day_field="performed_on",
        also="reference",
    )
    context = {
        "title": _("Record practice"),
        "filters_label": _("Find people"),
        "filters": filters,
        "listed": listed.count(),
        "today": days.day,
        "words": words,
        "scope_code": scope_code,
        "scope_title": dict(scopes).get(scope_code, ""),
        "reported": access.work_reports_for(user).count(),
    }
    # Without a scope there is nothing that the work could be within.
    shown = shown if scope_code else []
    rows = presenters.work_rows(shown, scope_code, days, user.sites_as(*READERS))
    return _show(request, "training/work_grid.html", once, rows, sent, context)


def _scope_meant(
    request: UserRequest, scopes: Sequence[tuple[str, str]], people: PersonQuerySet, days: Days
) -> str:
    """The scope that was asked for, or the one of last time; else what most people do."""
    codes = [code for code, _title in scopes]
    asked = request.POST.get("scope_code", request.GET.get("scope", ""))
    for code in (asked, queries.last_scope_confirmed_by(request.user)):
        if code in codes:
            return code
    commonest = presenters.commonest_scope(people, days)
    return next((code for code in (commonest, *codes) if code in codes), "")


@require_http_methods(FORM_METHODS)
@role_required(Role.INSTRUCTOR)
def calibration_grid(request: UserRequest) -> HttpResponse:
    """Calibrations of a shelf of tools, done on one day."""
    user, tools = request.user, access.tools_kept_by(request.user)
    today = people_access.today_for(user)
    last = queries.last_calibration_of(tools)
    once = forms.CalibrationOnceForm(
        post_data(request),
        initial={
            "calibrated_on": today,
            "valid_through": today + (last.valid_through - last.calibrated_on) if last else None,
        },
    )
    report = once.data.get("reference", "") if once.is_bound else ""
    results = forms.calibration_results(request.POST, report.strip())
    sent = Sent(
        {
            key: ("pass" if result.passed else "fail", forms.report_of(request.POST, key))
            for key, result in results.items()
        }
    )
    if _holds(once, results, _("Choose pass or fail of a tool first.")):
        once_said = {**once.cleaned_data}
        once_said.pop("reference")
        outcome = services.record_calibrations(
            results=results, tools=tools, **once_said, actor=user, at=timezone.now()
        )
        passed = [results[key].passed for key in outcome.recorded]
        what = presenters.counted(
            (presenters.passes, passed.count(True)), (presenters.fails, passed.count(False))
        )
        done = presenters.done_sentence(what, once_said["calibrated_on"], outcome)
        sent = Sent(sent.chosen, outcome, done)
    if sent.fits:
        return _anew(request, sent)
    filters = forms.ToolFilterForm(request.GET, tools=tools)
    listed = tools.filter(retired_on__isnull=True, **filters.chosen()).exclude(pk__in=sent.recorded)
    every_tool, in_list = (queries.by_calibration(rows) for rows in (tools, listed))
    shown = queries.rows_shown(every_tool, in_list, sent.kept)
    words = presenters.words_for_script(
        {"pass": presenters.passes, "fail": presenters.fails},
        record=_("Record {what} of {day}"),
        nothing=_("Nothing is chosen yet"),
        day_field="calibrated_on",
    )
    context = {
        "title": _("Calibrations"),
        "filters_label": _("Find tools"),
        "filters": filters,
        "listed": listed.count(),
        "today": today,
        "words": words,
    }
    rows = presenters.calibration_rows(shown, today)
    return _show(request, "training/calibration_grid.html", once, rows, sent, context)


def _days(user: User, people: PersonQuerySet) -> Days:
    sites = Site.objects.filter(pk__in=people.order_by().values("site"))
    return people_access.days_for(user, set(sites.values_list("pk", flat=True)), timezone.now())


def _holds(once: Form, chosen: Collection[int] | Mapping[int, Any], nothing: str) -> bool:
    """Whether a grid was sent that can be recorded; what it lacks stands in the form."""
    if not once.is_bound or not once.is_valid():
        return False
    if not chosen:
        once.add_error(None, nothing)
    return bool(chosen)


def _anew(request: UserRequest, sent: Sent) -> HttpResponse:
    messages.success(request, sent.done)
    return redirect(request.get_full_path())


def _show(
    request: UserRequest,
    template: str,
    once: Form,
    rows: list[GridRow],
    sent: Sent,
    context: dict[str, Any],
) -> HttpResponse:
    presenters.keep_chosen(rows, sent.chosen, sent.outcome)
    context |= {"once": once, "rows": rows, "done": sent.done, "at_most": queries.ROWS_AT_MOST}
    if sent.outcome is not None:
        shown = [row.of.pk for row in rows]
        context["refused"] = presenters.refused_sentence(sent.outcome, shown)
    return render(request, template, context, status=422 if once.is_bound else 200)
