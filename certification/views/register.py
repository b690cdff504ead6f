"""The quality manager's page: who may do what, filtered, and as a file."""

import csv
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.core.paginator import Paginator
from django.http import FileResponse, HttpResponse, QueryDict, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from certification import exports, register
from certification.forms.register import RegisterForm
from training.access import UserRequest, people_with_standing_for, role_required
from training.models import Role
from training.templatetags.look import STANDINGS

PEOPLE_A_PAGE = 50
COUNTED_AS = {
    "ending": ("ending", "is-accept", _("of these, something ends within 90 days")),
    register.NOT_CURRENT: ("expired", "is-caution", _("not current: see your instructor")),
}
READERS = (Role.QUALITY, Role.INSTRUCTOR, Role.LINE_LEAD)


def _today(request: UserRequest) -> date:
    """The day where the reader is; a sign-in without a site reads the server's calendar."""
    now = timezone.now()
    person = request.user.person
    return person.site.today(now) if person else timezone.localdate(now)


def _form(request: UserRequest) -> RegisterForm:
    people = people_with_standing_for(request.user).order_by()
    work_at = set(people.values_list("site", "line_lead").distinct())
    form = RegisterForm(
        request.GET,
        user=request.user,
        sites={site for site, _lead in work_at},
        leads={lead for _site, lead in work_at if lead},
    )
    form.is_valid()
    return form


@require_safe
@role_required(*READERS)
def register_page(request: UserRequest) -> HttpResponse:
    form = _form(request)
    asked = form.asked(_today(request))
    people = register.people_asked_for(request.user, asked)
    page = Paginator(people, PEOPLE_A_PAGE).get_page(request.GET.get("page"))
    page.object_list = list(register.with_spans(page.object_list, asked))  # type: ignore[arg-type]
    groups = [
        (
            person,
            register.lines_of(person, asked, register.reads_in_full(request.user, person)),
        )
        for person in page.object_list
    ]
    query = request.GET.copy()
    query.pop("page", None)
    counts = register.counts(request.user, asked)
    return render(
        request,
        "certification/register.html",
        {
            "form": form,
            "asked": asked,
            "page": page,
            "groups": groups,
            "standings": counts[asked.standing or "all"],
            "counted": _counted(form, counts, query),
            "query": query.urlencode(),
        },
    )


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
    found = []
    for standing, _label in form.fields["standing"].choices:  # type: ignore[attr-defined]
        always = standing in ("certified", "ending")
        if not standing or not (counts[standing] or always or standing == chosen):
            continue
        narrowed = query.copy()
        narrowed["standing"] = "" if standing == chosen else standing
        shape, tone, word = COUNTED_AS.get(standing) or STANDINGS[standing]
        url = f"?{narrowed.urlencode()}"
        found.append(Counted(shape, tone, word, counts[standing], url, standing == chosen))
    return found


@require_safe
@role_required(*READERS)
def register_csv(request: UserRequest) -> StreamingHttpResponse:
    asked = _form(request).asked(_today(request))
    writer = csv.writer(exports.Echo())
    rows = (register.as_row(line) for line in register.all_lines(request.user, asked))

    def body():
        yield "\ufeff" + writer.writerow(register.COLUMNS)
        for row in rows:
            yield writer.writerow([exports.harmless(cell) for cell in row])

    response = StreamingHttpResponse(body(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="register-{asked.day}.csv"'
    return response


@require_safe
@role_required(*READERS)
def register_xlsx(request: UserRequest) -> FileResponse:
    asked = _form(request).asked(_today(request))
    rows = (register.as_row(line) for line in register.all_lines(request.user, asked))
    return FileResponse(
        exports.workbook(f"Register {asked.day}", register.COLUMNS, rows),
        as_attachment=True,
        filename=f"register-{asked.day}.xlsx",
    )
