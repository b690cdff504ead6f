"""The quality manager's page: who may do what, filtered, and as a file."""

import csv
from datetime import date

from django.core.paginator import Paginator
from django.http import FileResponse, HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from certification import exports, register
from certification.forms.register import RegisterForm
from training.access import UserRequest, people_with_standing_for, role_required
from training.models import Person, Role, Site

PEOPLE_A_PAGE = 50
READERS = (Role.QUALITY, Role.INSTRUCTOR, Role.LINE_LEAD)


def _today(request: UserRequest) -> date:
    """The day where the reader is; a sign-in without a site reads the server's calendar."""
    now = timezone.now()
    person = request.user.person
    return person.site.today(now) if person else timezone.localdate(now)


def _form(request: UserRequest) -> RegisterForm:
    people = people_with_standing_for(request.user)
    form = RegisterForm(
        request.GET,
        user=request.user,
        sites=Site.objects.filter(people__in=people).distinct(),
        leads=Person.objects.filter(led__in=people).distinct(),
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
    return render(
        request,
        "certification/register.html",
        {
            "form": form,
            "asked": asked,
            "page": page,
            "groups": groups,
            "counts": register.counts(request.user, asked),
            "query": query.urlencode(),
            "links": _count_links(query),
        },
    )


def _count_links(query) -> dict[str, str]:
    """For each standing, the address of this view narrowed to it."""
    links = {}
    for standing, _label in RegisterForm.base_fields["standing"].choices:  # type: ignore[attr-defined]
        narrowed = query.copy()
        narrowed["standing"] = standing
        links[standing or "any"] = f"?{narrowed.urlencode()}"
    return links


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
