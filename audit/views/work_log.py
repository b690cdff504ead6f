"""The quality manager's work-log check: a log in, its progress, and what was found."""

import csv
from collections.abc import Sequence
from io import StringIO
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.text import get_valid_filename
from django.views.decorators.http import require_http_methods, require_safe

from audit import access
from audit.exceptions import AuditError, CannotRecord
from audit.forms.work_log import FindingsForm, LogPracticeForm, WorkLogForm
from audit.models import WorkLogCheck
from audit.presenters import work_log_page as work_log_screens
from audit.presenters.work_log_page import FindingsFile, FindingsFilters
from audit.services import log_practice
from audit.services import work_log_checks as services
from people.access import UserRequest, role_required
from people.models import Role
from people.presenters import exported_tables as exports

CHECKS_A_PAGE = 25
ROWS_A_PAGE = 100


def _zone(request: UserRequest) -> Any:
    person = request.user.person
    return person.site.zone if person else timezone.get_default_timezone()


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.QUALITY)
def work_log(request: UserRequest) -> HttpResponse:
    zone = _zone(request)
    form = WorkLogForm(request.POST or None, request.FILES or None, zone=zone)
    if request.method == "POST" and form.is_valid():
        upload = form.cleaned_data["file"]
        try:
            check = services.request_check(
                actor=request.user,
                file=upload,
                name=upload.name,
                at=timezone.now(),
                zone=zone,
                **form.check_options(),
            )
        except AuditError as error:
            form.add_error("file", str(error))
        else:
            return redirect("audit:work_log_check", check.pk)
    checks = access.work_log_checks_readable_by(request.user).with_list_columns()
    page = Paginator(checks, CHECKS_A_PAGE).get_page(request.GET.get("page"))
    status = 422 if request.method == "POST" else 200
    context = {"form": form, "page": page, "zone": zone}
    return render(request, "audit/work_log.html", context, status=status)


@require_safe
@role_required(Role.QUALITY)
def work_log_example(request: UserRequest) -> HttpResponse:
    """A log to try the page with, of work that is in the practice record."""
    stream = StringIO()
    rows = csv.writer(stream)
    rows.writerow(work_log_screens.EXAMPLE_HEADING)
    for number, cells in enumerate(work_log_screens.example_of_work(request.user), start=1):
        rows.writerow([number, *(exports.harmless(cell) for cell in cells)])
    response = HttpResponse(stream.getvalue(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="work-log-example.csv"'
    return response


@require_safe
@role_required(Role.QUALITY)
def work_log_check(request: UserRequest, check_id: int) -> HttpResponse:
    check = access.work_log_check_for_quality(request.user, check_id)
    if request.htmx and request.htmx.target == "progress":
        response = render(request, "audit/partials/work_log_progress.html", {"check": check})
        if check.finished_at is not None:
            response["HX-Refresh"] = "true"
        return response
    context: dict[str, Any] = {"check": check, "zone": _zone(request)}
    if check.state == WorkLogCheck.State.FINISHED:
        context |= _findings_context(request, check)
    return render(request, "audit/work_log_check.html", context)


def _findings_filters(request: UserRequest) -> tuple[FindingsForm, FindingsFilters]:
    form = FindingsForm(request.GET)
    form.is_valid()
    data = form.cleaned_data
    filters = FindingsFilters(
        data.get("q", "").strip(),
        data.get("standing", ""),
        data.get("scope", "").strip(),
        data.get("first"),
        data.get("last"),
    )
    return form, filters


class _Rows(Sequence[dict[str, Any]]):
    """The findings as a paginator counts and cuts them."""

    def __init__(self, file: FindingsFile) -> None:
        self._file, self._count = file, file.count()

    def __len__(self) -> int:
        return self._count

    def __getitem__(self, part: Any) -> Any:
        start = part.start or 0
        return self._file.rows(start, (part.stop or self._count) - start)


def _findings_context(request: UserRequest, check: WorkLogCheck) -> dict[str, Any]:
    form, filters = _findings_filters(request)
    page = Paginator(_Rows(FindingsFile(check, filters)), ROWS_A_PAGE).get_page(
        request.GET.get("page")
    )
    shown = list(page)
    numbers = {row["number"] for row in shown} | {row[0] for row in check.people}
    names = access.names_of(request.user, numbers)
    for row in shown:
        row["name"] = names.get(row["number"], "")
    query = request.GET.copy()
    query.pop("page", None)
    return {
        "form": form,
        "page": page,
        "rows": shown,
        "bars": work_log_screens.bars(check),
        "people": [
            (names.get(number, ""), number, rows, days)
            for number, rows, days, _first, _last in check.people
        ],
        "query": query.urlencode(),
        "filtered": filters != FindingsFilters(),
    }


def _finished_check(request: UserRequest, check_id: int) -> WorkLogCheck:
    check = access.work_log_check_for_quality(request.user, check_id)
    if check.state != WorkLogCheck.State.FINISHED:
        raise Http404
    return check


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.QUALITY)
def work_log_practice(request: UserRequest, check_id: int) -> HttpResponse:
    """What of a log would be recorded as practice, and the act itself."""
    check = _finished_check(request, check_id)
    form = LogPracticeForm(request.GET)
    days = (
        {name: form.cleaned_data.get(name) for name in ("first", "last")}
        if (form.is_valid())
        else {"first": None, "last": None}
    )
    refusal, now = "", timezone.now()
    if request.method == "POST" and form.is_valid():
        try:
            done = log_practice.record_practice_of(
                check=check,
                actor=request.user,
                at=now,
                seen=request.POST.get("seen", ""),
                **days,
            )
        except CannotRecord as error:
            refusal = str(error)
        else:
            messages.success(request, work_log_screens.recorded_said(len(done.recorded)))
            return redirect("audit:work_log_check", check.pk)
    plan = log_practice.plan_of(check, request.user, now, **days) if form.is_valid() else None
    context = {
        "check": check,
        "form": form,
        "plan": plan,
        "lines": work_log_screens.lines_to_record(plan) if plan else [],
        "most": log_practice.MOST_AT_ONCE,
        "refusal": refusal,
        "asked": request.GET.urlencode(),
    }
    status = 422 if request.method == "POST" or form.errors else 200
    return render(request, "audit/work_log_practice.html", context, status=status)


def _download_name(check: WorkLogCheck, what: str) -> str:
    stem = check.file_name.rpartition(".")[0] or "work-log"
    return f"{get_valid_filename(stem) or 'work-log'}-{what}"


@require_safe
@role_required(Role.QUALITY)
def work_log_findings_csv(request: UserRequest, check_id: int) -> StreamingHttpResponse:
    check = _finished_check(request, check_id)
    file = FindingsFile(check, _findings_filters(request)[1])
    response = StreamingHttpResponse(file.csv_lots(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = (
        f'attachment; filename="{_download_name(check, "findings.csv")}"'
    )
    return response


@require_safe
@role_required(Role.QUALITY)
def work_log_findings_xlsx(request: UserRequest, check_id: int) -> FileResponse:
    check = _finished_check(request, check_id)
    file = FindingsFile(check, _findings_filters(request)[1])
    return FileResponse(
        file.workbook(), as_attachment=True, filename=_download_name(check, "findings.xlsx")
    )


@require_safe
@role_required(Role.QUALITY)
def work_log_problems_csv(request: UserRequest, check_id: int) -> HttpResponse:
    check = _finished_check(request, check_id)
    lines = exports.csv_lines(["line", "column", "reason"], check.problems)
    response = HttpResponse("".join(lines), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = (
        f'attachment; filename="{_download_name(check, "not-judged.csv")}"'
    )
    return response
