"""People: listed, looked at, entered and changed."""

from datetime import date

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from people import access, ports
from people.access import UserRequest, role_required
from people.exceptions import PeopleError
from people.forms.people import PersonFilterForm, PersonForm
from people.models import Person, Role, Site, User
from people.models.people import at_work_on
from people.queries.departures import matters_of_departure
from people.queries.erased import is_erased
from people.queries.memberships import history_of
from people.queries.particulars import changes_of
from people.queries.reach import may_change_address
from people.services import people as services

PAGE_SIZE = 50
LIST_ROLES = (Role.LINE_LEAD, Role.INSTRUCTOR, Role.QUALITY, Role.ADMINISTRATOR)


@require_safe
@role_required(*LIST_ROLES)
def person_list(request: UserRequest) -> HttpResponse:
    readable = access.people_listed_for(request.user)
    sites = Site.objects.filter(pk__in=readable.order_by().values("site"))
    form = PersonFilterForm(request.GET, sites=sites)
    filters = form.chosen()
    days = access.days_for(request.user, {site.pk for site in sites}, timezone.now())
    people = readable.search(filters.get("q", ""))
    state = filters.get("state", "")
    if state == "left":
        people = people.filter(days.each(lambda day: Q(left_on__lt=day), "site"))
    elif state != "all":
        people = people.filter(days.each(at_work_on, "site"))
    for name in ("site", "kind"):
        if name in filters:
            people = people.filter(**{name: filters[name]})
    page = Paginator(people.with_list_columns(), PAGE_SIZE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "filtered": bool(filters),
        "today": days.day,
        "several_sites": "site" in form.fields,
        "may_enrol": bool(access.enrolling_site_ids(request.user)),
        "prints_letters": request.user.has_role(Role.ADMINISTRATOR),
    }
    return render(request, "people/person_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.INSTRUCTOR, Role.ADMINISTRATOR)
def person_new(request: UserRequest) -> HttpResponse:
    sites = Site.objects.filter(pk__in=access.enrolling_site_ids(request.user))
    form = PersonForm(
        request.POST if request.method == "POST" else None,
        sites=sites,
        leads=Person.objects.filter(site__in=sites),
        initial={"started_on": access.today_for(request.user), "kind": Person.Kind.OWN},
    )
    if request.method == "POST" and form.is_valid():
        try:
            person = services.enrol_person(
                **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("%(name)s is enrolled.") % {"name": person.full_name})
            return redirect("people:person_detail", person.employee_number)
    status = 422 if form.is_bound else 200
    return render(request, "people/person_form.html", {"form": form}, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def person_edit(request: UserRequest, employee_number: str) -> HttpResponse:
    person = access.person_with_right(request.user, employee_number, "edit")
    enrols_at = access.enrolling_site_ids(request.user) | {person.site_id}
    sites = Site.objects.filter(pk__in=enrols_at)
    form = PersonForm(
        request.POST if request.method == "POST" else None,
        sites=sites,
        leads=Person.objects.filter(site__in=sites).exclude(pk=person.pk),
        address_is_fixed=not may_change_address(request.user, person),
        site_is_fixed=True,
        initial={
            "employee_number": person.employee_number,
            **{name: getattr(person, name) for name in services.CHANGEABLE},
        },
    )
    departure: list[ports.OpenMatter] = []
    if request.method == "POST" and form.is_valid():
        departure = _unseen_matters(request, person, form.cleaned_data["left_on"])
    if request.method == "POST" and form.is_valid() and not departure:
        try:
            person = services.change_person(
                person=person, **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("What changed is saved."))
            return redirect("people:person_detail", person.employee_number)
    context = {"form": form, "person": person, "departure": departure}
    status = 422 if form.is_bound and not departure else 200
    return render(request, "people/person_form.html", context, status=status)


def _unseen_matters(
    request: UserRequest, person: Person, last_day: date | None
) -> list[ports.OpenMatter]:
    """What a last day that is being entered ends and leaves open, until it has been shown."""
    if last_day is None or last_day == person.left_on:
        return []
    if request.POST.get("last_day_seen") == last_day.isoformat():
        return []
    return matters_of_departure(person, last_day)


@require_safe
@login_required
def person_detail(request: UserRequest, employee_number: str) -> HttpResponse:
    person = access.person_for_page(request.user, employee_number)
    if person.employee_number != employee_number:
        return redirect("people:person_detail", person.employee_number)
    rights = access.rights_over(request.user, person)
    context = {
        "person": person,
        "rights": rights,
        "today": person.site.today(),
        "former_numbers": person.former_numbers.order_by("-until_on"),
        "is_erased": is_erased(person) and not (person.email or person.employer),
    }
    if rights.edit or rights.results:
        context["moves"] = history_of(person)
        context["changes"] = changes_of(person)
        context["returns"] = person.returns.order_by("-returned_on")
    if rights.results:
        context |= ports.person_record(person, every_practice=request.GET.get("practice") == "all")
    if rights.results or rights.stamps:
        context["stamps"] = person.stamps.order_by("-issued_on", "mark")
    if rights.sign_in:
        context["sign_in"] = User.objects.filter(person=person).first()
    return render(request, "people/person_detail.html", context)
