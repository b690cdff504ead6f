"""How somebody signs in, and the roles they hold: for administrators."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from people import access
from people.access import UserRequest
from people.exceptions import PeopleError, ProofRefused
from people.forms.people import RolesForm
from people.forms.second_factor import ResetForm
from people.models import Person, ProviderLink, Role, Site, User
from people.queries.second_factors import has_second_factor
from people.services import sign_ins as services
from people.services.proof import prove_identity
from people.services.second_factors import reset_second_factors
from people.services.sign_in_mails import send_password_link


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def person_sign_in(request: UserRequest, employee_number: str) -> HttpResponse:
    """Roles at the administrator's sites; the first time they open the sign-in as well."""
    person = access.person_with_right(request.user, employee_number, "sign_in")
    user = User.objects.filter(person=person).first()
    form = RolesForm(
        request.POST if request.method == "POST" else None,
        sites=Site.objects.filter(pk__in=request.user.sites_as(Role.ADMINISTRATOR)),
        user=user,
    )
    if request.method == "POST" and form.is_valid():
        common: dict[str, Any] = {
            "roles": form.roles(),
            "actor": request.user,
            "at": timezone.now(),
        }
        try:
            if user is None:
                user, password = services.open_sign_in(person=person, **common)
                return _hand_over(request, person, user, password)
            services.set_roles(user=user, **common)
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The roles are saved."))
            return redirect("people:person_sign_in", person.employee_number)
    return _render_sign_in(request, person, user, form)


def _render_sign_in(
    request: UserRequest,
    person: Person,
    user: User | None,
    form: RolesForm,
    reset_form: ResetForm | None = None,
) -> HttpResponse:
    has_one = user is not None and has_second_factor(user)
    is_linked = ProviderLink.objects.filter(user=user).exists()
    if reset_form is None and (has_one or is_linked):
        reset_form = ResetForm(prefix="reset")
    is_refused = form.is_bound or (reset_form is not None and reset_form.is_bound)
    context = {
        "person": person,
        "sign_in": user,
        "form": form,
        "reset_form": reset_form,
        "has_second_factor": has_one,
    }
    return render(request, "people/sign_in.html", context, status=422 if is_refused else 200)


@never_cache
@require_POST
@login_required
def sign_in_password(request: UserRequest, employee_number: str) -> HttpResponse:
    """Have a lost password replaced: by a link to its owner, or by a one-time one."""
    person, user = _person_and_sign_in(request, employee_number)
    try:
        password = services.give_password(user=user, actor=request.user, at=timezone.now())
    except PeopleError as error:
        messages.error(request, str(error))
        return redirect("people:person_sign_in", person.employee_number)
    return _hand_over(request, person, user, password)


@require_POST
@login_required
def sign_in_switch(request: UserRequest, employee_number: str) -> HttpResponse:
    person, user = _person_and_sign_in(request, employee_number)
    active = request.POST.get("act") == "open"
    try:
        services.set_sign_in_active(user=user, active=active, actor=request.user, at=timezone.now())
    except PeopleError as error:
        messages.error(request, str(error))
    else:
        message = (
            _("%(name)s can sign in again.") if active else _("%(name)s can no longer sign in.")
        )
        messages.success(request, message % {"name": person.full_name})
    return redirect("people:person_sign_in", person.employee_number)


@never_cache
@require_POST
@login_required
def sign_in_second_factor(request: UserRequest, employee_number: str) -> HttpResponse:
    """Take away the second factors of somebody who has lost theirs."""
    person, user = _person_and_sign_in(request, employee_number)
    form = ResetForm(request.POST, prefix="reset")
    if form.is_valid():
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            reset_second_factors(
                user=user,
                actor=request.user,
                reason=form.cleaned_data["reason"],
                proof=proof,
                at=timezone.now(),
            )
        except ProofRefused as error:
            form.add_error("password", str(error))
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request,
                _("%(name)s has no second factor any more.") % {"name": person.full_name},
            )
            return redirect("people:person_sign_in", person.employee_number)
    roles_form = RolesForm(
        None, sites=Site.objects.filter(pk__in=request.user.sites_as(Role.ADMINISTRATOR)), user=user
    )
    return _render_sign_in(request, person, user, roles_form, form)


def _person_and_sign_in(request: UserRequest, employee_number: str) -> tuple[Person, User]:
    person = access.person_with_right(request.user, employee_number, "sign_in")
    user = User.objects.filter(person=person).first()
    if user is None:
        raise Http404
    return person, user


def _hand_over(request: UserRequest, person: Person, user: User, password: str) -> HttpResponse:
    """Show the one-time password, or send the link that takes its place."""
    if password:
        return _render_password_once(request, person, password)
    names = {"name": person.full_name, "email": person.email}
    if send_password_link(user):
        messages.success(
            request,
            _("%(name)s has been sent a link to choose a password, to %(email)s.") % names,
        )
    else:
        messages.error(
            request,
            _(
                "The link for %(name)s could not be sent to %(email)s. See under Health whether "
                "mail goes out, then send it again."
            )
            % names,
        )
    return redirect("people:person_sign_in", person.employee_number)


def _render_password_once(request: UserRequest, person: Person, password: str) -> HttpResponse:
    """The page with a password that is kept nowhere, so that nobody can come back to it."""
    context = {"person": person, "password": password}
    return render(request, "people/password_once.html", context)
