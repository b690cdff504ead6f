"""The quality manager's page: who may do what, filtered, and as a file."""

import logging
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, NamedTuple
from urllib.parse import urlencode

from django.core.paginator import Page, Paginator
from django.db import transaction
from django.http import (
    FileResponse,
    HttpResponse,
    HttpResponseBase,
    QueryDict,
    StreamingHttpResponse,
)
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRefresh
from kombu.exceptions import OperationalError

from assessments.access import requests_seen_to_by
from assessments.models import ReadingRequest
from certification import access, tasks
from certification.access import IN_FULL
from certification.domain.disclosure import NOT_CURRENT
from certification.forms.register import RegisterForm, Works
from certification.models import KnownRegister
from certification.presenters import corrected_results, decide_page, register
from certification.presenters.corrected_results import CorrectedLine
from certification.presenters.decide_page import Waiting
from certification.services import known_registers
from people.access import UserRequest, people_with_standing_for, role_required
from people.models import Person, Role, User
from people.presenters import exported_tables as exports
from people.presenters.symbols import STANDING_SYMBOLS
from training.access import sessions_readable_by
from training.models import ClassSession
from training.queries.classes import enrolled_ahead

log = logging.getLogger(__name__)

WHO_WAS_THAT = _("Trace a stamp or unit: a stamp and a day, or a unit or work order")
PEOPLE_A_PAGE = 50
LINES_A_PAGE = 100
COUNTED_AS = {
    "ending": ("ending", "is-accept", _("of these, something ends within 90 days")),
    NOT_CURRENT: ("expired", "is-caution", _("not current: see your instructor")),
}
READERS = (Role.QUALITY, Role.INSTRUCTOR, Role.LINE_LEAD)


def _today(request: UserRequest) -> date:
    """The day where the reader is; a sign-in without a site reads the server's calendar."""
    now = timezone.now()
    person = request.user.person
    return person.site.today(now) if person else timezone.localdate(now)


def _form(request: UserRequest, data: QueryDict | None = None) -> RegisterForm:
    form = RegisterForm(
        request.GET if data is None else data,
        user=request.user,
        works=Works(people_with_standing_for(request.user)),
    )
    form.is_valid()
    return form


@require_safe
@role_required(*READERS)
def register_page(request: UserRequest) -> HttpResponse:
    form = _form(request)
    today = _today(request)
    query = request.GET.copy()
    query.pop("page", None)
    known_at = form.known_at(timezone.now())
    known = _known(form, today, known_at)
    if known_at is not None and (known is None or not known.is_finished):
        return _not_worked_out(request, form, today, known_at, known)
    if request.htmx:  # The page that waited has nothing to wait for any more.
        return HttpResponseClientRefresh()
    filters = form.filters(today, known, now=timezone.now())
    counts = register.counts(request.user, filters)
    page, groups = _page_of(request, filters, counts)
    named = _with_classes(request.user, groups, filters, today)
    return render(
        request,
        "certification/register.html",
        {
            "form": form,
            "filters": filters,
            "today": today,
            "elsewhere": form.days_elsewhere(filters),
            "page": page,
            "groups": groups,
            "named": named,
            "may_place": any(one.may_be_placed for one in named),
            "other_day": filters.day != today,
            "by_person": filters.order not in register.ORDERS_OF_LINES,
            "standings": counts[filters.standing or "all"],
            "counted": _counted(form, counts, query),
            "query": query.urlencode(),
            "back_to_today": _without(query, "day", "known_at"),
            "as_known_now": _without(query, "known_at"),
            "site": request.user.person.site if request.user.person else None,
            "orders": {
                order: _with(query, order=order) for order in ("name", "scope", "standing", "end")
            },
            "now": timezone.now(),
            "requests": _requests(request, filters, today, page),
            "waiting": _waiting(request, filters, today, page),
            "corrected": _corrected(request, filters, today, page),
            "who_form": {"q": {"label": WHO_WAS_THAT}}
            if request.user.has_role(Role.QUALITY)
            else None,
        },
        status=200 if form.knows_when else 422,
    )


def _requests(
    request: UserRequest, filters: register.RegisterFilters, today: date, page: Page[Any]
) -> list[ReadingRequest]:
    """What waits to be regraded, on the first page of today alone: it is no part of a past."""
    is_first = filters.day == today and filters.known is None and page.number == 1
    if not is_first or not request.user.has_role(Role.QUALITY):
        return []
    return list(requests_seen_to_by(request.user))


def _waiting(
    request: UserRequest, filters: register.RegisterFilters, today: date, page: Page[Any]
) -> Waiting | None:
    """What waits for quality to decide, on the first page of today alone."""
    is_first = filters.day == today and filters.known is None and page.number == 1
    if not is_first or not request.user.has_role(Role.QUALITY):
        return None
    return decide_page.waiting(access.proposals_waiting_for(request.user))


def _corrected(
    request: UserRequest, filters: register.RegisterFilters, today: date, page: Page[Any]
) -> list[CorrectedLine]:
    """Certificates on a corrected result that wait for quality, there alone too."""
    is_first = filters.day == today and filters.known is None and page.number == 1
    if not is_first or not request.user.has_role(Role.QUALITY):
        return []
    return corrected_results.waiting_for(request.user, timezone.now())


def _known(form: RegisterForm, today: date, known_at: datetime | None) -> KnownRegister | None:
    """What there is of the register of the day as known at an instant."""
    if known_at is None:
        return None
    return KnownRegister.objects.filter(day=form.filters(today).day, known_at=known_at).first()


def _not_worked_out(
    request: UserRequest,
    form: RegisterForm,
    today: date,
    known_at: datetime,
    known: KnownRegister | None,
) -> HttpResponse:
    """How far a worker has got, or a button to have it begin."""
    page = "partials/known_progress" if request.htmx else "register_known"
    return render(
        request,
        f"certification/{page}.html",
        {
            "form": form,
            "filters": form.filters(today),
            "known": known,
            "known_at": known_at,
            "known_at_text": request.GET.get("known_at", ""),
            "as_known_now": _without(request.GET, "known_at", "page"),
            "site": request.user.person.site if request.user.person else None,
        },
    )


@require_POST
@role_required(Role.QUALITY)
def register_as_known(request: UserRequest) -> HttpResponse:
    """Have a register worked out, then back to the page that shows how far it is."""
    now, today = timezone.now(), _today(request)
    form = _form(request, request.POST)
    known_at = form.known_at(now) if form.knows_when else None
    if known_at is not None:
        known_registers.ask(
            day=form.filters(today).day, known_at=known_at, actor=request.user, at=now
        )
        transaction.on_commit(_wake)
    filters = {name: request.POST[name] for name in ("day", "known_at") if request.POST.get(name)}
    return redirect(f"{reverse('certification:register')}?{urlencode(filters)}")


def _wake() -> None:
    try:
        tasks.work_out_known_registers.delay()
    except (OperationalError, OSError) as error:
        log.info("The next minute finds what was asked for by itself: %s", error)


class _CountedAlready(Paginator):
    """Pages of a list whose length is known, so that it is not asked for once more."""

    def __init__(self, listed: Any, a_page: int, count: int) -> None:
        super().__init__(listed, a_page)
        self.count = count


def _page_of(
    request: UserRequest, filters: register.RegisterFilters, counts: dict[str, int]
) -> tuple[Page, list[tuple[Person, list[register.Line]]]]:
    """A page of people with their lines, or of lines with whose they are."""
    user, number = request.user, request.GET.get("page")
    if filters.order in register.ORDERS_OF_LINES:
        lines: Any = register.LinesInOrder(user, filters, counts)
        page: Page = Paginator(lines, LINES_A_PAGE).get_page(number)
        return page, [(line.person, [line]) for line in page.object_list]
    people = register.people_who_match(user, filters)
    page = _CountedAlready(people, PEOPLE_A_PAGE, counts["people"]).get_page(number)
    return page, [
        (
            person,
            register.lines_of(person, filters, register.reads_line_in_full(user, person, filters)),
        )
        for person in register.with_spans(user, page.object_list, filters)  # type: ignore[arg-type]
    ]


class Named(NamedTuple):
    """Somebody on the page with their lines, and with the classes to come that they are in."""

    person: Person
    lines: list[register.Line]
    sessions: Sequence[ClassSession]
    may_be_placed: bool


def _with_classes(
    user: User,
    groups: list[tuple[Person, list[register.Line]]],
    filters: register.RegisterFilters,
    today: date,
) -> list[Named]:
    """Who on the page is in a class to come, and whom the user can put in one.

    Of today alone: a past day is read for what was, and a day to come for what will be.
    """
    is_today = filters.day == today and filters.known is None
    if not is_today or not user.has_role(*IN_FULL):
        return [Named(person, lines, (), False) for person, lines in groups]
    teaches = user.sites_as(Role.INSTRUCTOR)
    people = {person.pk for person, _lines in groups}
    enrolled = enrolled_ahead(people, sessions_readable_by(user), today)
    return [
        Named(
            person,
            lines,
            enrolled.get(person.pk, ()),
            person.site_id in teaches and person.pk != user.person_id,
        )
        for person, lines in groups
    ]


def _with(query: QueryDict, **changed: str) -> str:
    changed_query = query.copy()
    for name, value in changed.items():
        changed_query[name] = value
    return f"?{changed_query.urlencode()}"


def _without(query: QueryDict, *names: str) -> str:
    changed_query = query.copy()
    for name in names:
        changed_query.pop(name, None)
    return f"?{changed_query.urlencode()}"


@dataclass(frozen=True, slots=True)
class Counted:
    """How many scopes stand like this; its link narrows the view to them, or widens it again."""

    shape: str
    tone: str
    word: Any
    number: int
    url: str
    is_chosen: bool


def _counted(form: RegisterForm, counts: dict[str, int], query: QueryDict) -> list[Counted]:
    chosen = form.cleaned_data.get("standing", "")
    totals = []
    for standing, _label in form.fields["standing"].choices:  # type: ignore[attr-defined]
        always = standing in ("certified", "ending")
        if not standing or not (counts[standing] or always or standing == chosen):
            continue
        shape, tone, word = COUNTED_AS.get(standing) or STANDING_SYMBOLS[standing]
        url = _with(query, standing="" if standing == chosen else standing)
        totals.append(Counted(shape, tone, word, counts[standing], url, standing == chosen))
    return totals


@require_safe
@role_required(*READERS)
def register_csv(request: UserRequest) -> HttpResponseBase:
    filters = _asked_for_a_file(request)
    if filters is None:
        return _say_why(request)
    lines = exports.csv_lines(register.COLUMNS, _rows(request, filters))
    response = StreamingHttpResponse(lines, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{_file_name(filters)}.csv"'
    return response


@require_safe
@role_required(*READERS)
def register_xlsx(request: UserRequest) -> HttpResponseBase:
    filters = _asked_for_a_file(request)
    if filters is None:
        return _say_why(request)
    return FileResponse(
        exports.workbook(f"Register {filters.day}", register.COLUMNS, _rows(request, filters)),
        as_attachment=True,
        filename=f"{_file_name(filters)}.xlsx",
    )


def _asked_for_a_file(request: UserRequest) -> register.RegisterFilters | None:
    """What is asked for; nothing where it would be a file of another day or instant."""
    form, today = _form(request), _today(request)
    known_at = form.known_at(timezone.now())
    known = _known(form, today, known_at)
    if not form.knows_when or (known_at is not None and (known is None or not known.is_finished)):
        return None
    return form.filters(today, known, now=timezone.now())


def _rows(request: UserRequest, filters: register.RegisterFilters) -> Iterator[list[Any]]:
    return (register.as_row(line, filters) for line in register.all_lines(request.user, filters))


def _file_name(filters: register.RegisterFilters) -> str:
    if filters.known is None:
        return f"register-{filters.day}"
    return f"register-{filters.day}-known-{filters.known.known_at:%Y%m%dT%H%M%SZ}"


def _say_why(request: UserRequest) -> HttpResponse:
    """To the page, which says what is wrong with the day, or what is still to be worked out."""
    return redirect(f"{reverse('certification:register')}?{request.GET.urlencode()}")
