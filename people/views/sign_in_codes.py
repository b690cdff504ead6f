"""Letters with a code for people whom no mail reaches, and the page that the code leads to."""

from datetime import timedelta
from typing import Any

from allauth.account.adapter import get_adapter
from allauth.account.utils import perform_login
from django.core.exceptions import ValidationError
from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from people.access import UserRequest, role_required, sites_administered_by
from people.exceptions import PeopleError, ProofRefused
from people.forms.sign_in_codes import (
    EVERYBODY,
    WITHOUT_PASSWORD,
    CodeForm,
    LettersFilterForm,
    LettersForm,
)
from people.middleware.sign_ins import client_address
from people.models import Person, Role
from people.presenters import sign_in_letters
from people.presenters.paper import not_printed
from people.queries.sign_in_codes import NO_OWN_PASSWORD, letter_lines, within_reach
from people.services import sign_in_codes as services
from people.services.proof import prove_identity

FORM_METHODS = ["GET", "HEAD", "POST"]


@sensitive_post_parameters("password")
@never_cache
@require_http_methods(FORM_METHODS)
@role_required(Role.ADMINISTRATOR)
def letters(request: UserRequest) -> HttpResponse:
    """Who needs a letter; printing them answers with the PDF, which is kept nowhere."""
    now = timezone.now()
    filter_form = LettersFilterForm(request.GET, sites=sites_administered_by(request.user))
    page = _people_asked_for(request, filter_form)
    people = list(page.object_list)
    lines = letter_lines(people, request.user, now)
    form = LettersForm(
        request.POST if request.method == "POST" else None, offered=[one.pk for one in people]
    )
    if form.is_bound and form.is_valid():
        try:
            return _print(request, people, form.cleaned_data)
        except ProofRefused as error:
            form.add_error("password", str(error))
        except PeopleError as error:
            form.add_error(None, str(error))
    ticked = set(request.POST.getlist("ticked"))
    named = bool(request.GET.getlist("number"))
    if not form.is_bound and (named or request.GET.get("all")):
        printable = [line for line in lines if not line.refusal]
        # A letter that is on its way is not voided by whoever ticks all.
        ticked = {line.seen for line in printable if named or not line.awaits_use(now)}
    context = {
        "filter_form": filter_form,
        "form": form,
        "page": page,
        "lines": lines,
        "ticked": ticked,
        "printable": sum(not line.refusal for line in lines),
        "several_sites": "site" in filter_form.fields,
        "lacking": not_printed(sign_in_letters.texts_on_letters(people)),
        "days": services.LASTS.days,
        "now": now,
    }
    status = 422 if form.is_bound else 200
    return render(request, "people/letters.html", context, status=status)


def _people_asked_for(request: UserRequest, form: LettersFilterForm) -> Page[Person]:
    people = within_reach(request.user).at_work_on(timezone.localdate()).select_related("site")
    chosen = form.chosen()
    numbers = list(dict.fromkeys(request.GET.getlist("number")))[: services.MOST_AT_ONCE]
    if numbers:
        people = people.filter(employee_number__in=numbers)
    elif chosen.get("who", WITHOUT_PASSWORD) == WITHOUT_PASSWORD:
        people = people.filter(NO_OWN_PASSWORD, email="")
    elif chosen["who"] != EVERYBODY:
        people = people.filter(email="")
    if "site" in chosen:
        people = people.filter(site=chosen["site"])
    if "entered" in chosen:
        since = timezone.now() - timedelta(days=int(chosen["entered"]))
        people = people.filter(recorded_at__gte=since)
    people = people.search(chosen.get("q", ""))
    return Paginator(people, services.MOST_AT_ONCE).get_page(request.GET.get("page"))


def _print(request: UserRequest, people: list[Person], asked: dict[str, Any]) -> HttpResponse:
    """Set the paper first and keep its codes last: what could not be set is worth nothing."""
    at = timezone.now()
    proof = prove_identity(request.user, asked["password"])
    chosen = {int(seen.partition(".")[0]) for seen in asked["ticked"]}
    drafts = services.draft_codes(
        [person for person in people if person.pk in chosen], with_pins=asked["with_pins"], at=at
    )
    pdf = sign_in_letters.letters_pdf(drafts, kind=asked["paper"], actor=request.user, at=at)
    services.keep_codes(drafts=drafts, seen=asked["ticked"], actor=request.user, proof=proof, at=at)
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = 'attachment; filename="letters.pdf"'
    return response


@sensitive_post_parameters("code", "password", "again")
@never_cache
@require_http_methods(FORM_METHODS)
def printed_code(request: HttpRequest) -> HttpResponse:
    """Choose a password by the code of a letter, and go on as after a password."""
    form = CodeForm(request.POST if request.method == "POST" else None)
    if not request.user.is_authenticated and form.is_bound and form.is_valid():
        try:
            return _choose(request, form)
        except ValidationError as error:
            form.add_error("password", error)
        except PeopleError as error:
            form.add_error("code", str(error))
    status = 422 if form.is_bound else 200
    return render(request, "people/printed_code.html", {"form": form}, status=status)


def _choose(request: HttpRequest, form: CodeForm) -> HttpResponse:
    at, address, typed = timezone.now(), client_address(request), form.cleaned_data
    code = services.code_for(number=typed["number"], code=typed["code"], address=address, at=at)
    get_adapter().clean_password(typed["password"], code.user)
    user = services.choose_password(code=code, password=typed["password"], address=address, at=at)
    return perform_login(request, user)
