"""Photo set-ups: declared, qualified, chosen for a photograph, and taken out of use."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments import access
from assessments.domain.view import BY_HAND
from assessments.exceptions import AssessmentError
from assessments.forms.photo_setups import (
    ChooseSetupForm,
    QualificationForm,
    RetirementForm,
    SetupForm,
    WireToleranceForm,
)
from assessments.models import PhotoSetup
from assessments.presenters.measuring_page import measure_url
from assessments.presenters.photo_setups import qualification_rows
from assessments.queries import photo_setups
from assessments.services import photo_setups as services
from people.access import READERS, UserRequest, role_required
from people.models import Site
from training.domain.wire import OVERALL_SHARE, STRANDED_SHARE


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*READERS)
def setup_list(request: UserRequest) -> HttpResponse:
    """The set-ups of one's sites, a form for another, and what the sites say of their wire."""
    form = SetupForm(request.POST if request.method == "POST" else None, sites=_sites(request))
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            setup = services.declare_setup(
                site=data["site"],
                name=data["name"],
                kind=data["kind"],
                bounds=form.bounds(),
                actor=request.user,
                at=timezone.now(),
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request,
                _("“%(name)s” is declared. Its bounds count once it is qualified.")
                % {"name": setup.name},
            )
            return redirect("assessments:setup_detail", setup.pk)
    return _list(request, form=form)


@require_POST
@role_required(*READERS)
def wire_tolerance(request: UserRequest) -> HttpResponse:
    form = WireToleranceForm(request.POST, sites=_sites(request))
    if form.is_valid():
        data = form.cleaned_data
        site = data.pop("wire_site")
        try:
            services.state_wire_tolerance(site=site, actor=request.user, at=timezone.now(), **data)
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("What the site says of its wire is kept."))
            return redirect("assessments:setup_list")
    return _list(request, wire_form=form)


def _sites(request: UserRequest) -> Any:
    return Site.objects.filter(pk__in=request.user.sites_as(*READERS))


def _list(
    request: UserRequest, form: SetupForm | None = None, wire_form: WireToleranceForm | None = None
) -> HttpResponse:
    sites = _sites(request)
    setups = access.setups_readable_by(request.user)
    context = {
        "setups": setups.in_use().select_related("site"),
        "retired": setups.filter(retirement__isnull=False).select_related("site", "retirement"),
        "by_hand": BY_HAND,
        "form": form or SetupForm(sites=sites),
        "wire_form": wire_form or WireToleranceForm(sites=sites),
        "wires": [(site, photo_setups.tolerance_of(site)) for site in sites],
        "usual": {"conductor": 100 * STRANDED_SHARE, "overall": 100 * OVERALL_SHARE},
    }
    refused = any(each is not None and each.errors for each in (form, wire_form))
    status = 422 if refused else 200
    return render(request, "assessments/photo_setups.html", context, status=status)


@require_safe
@login_required
def setup_detail(request: UserRequest, setup_id: int) -> HttpResponse:
    return _detail(request, access.setup_for_reader(request.user, setup_id))


@require_POST
@login_required
def setup_qualify(request: UserRequest, setup_id: int) -> HttpResponse:
    setup = access.setup_for_reader(request.user, setup_id)
    form = QualificationForm(request.POST)
    if form.is_valid():
        try:
            services.qualify_setup(
                setup=setup, actor=request.user, at=timezone.now(), **form.cleaned_data
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The set-up is qualified, and its bounds count."))
            return redirect("assessments:setup_detail", setup.pk)
    return _detail(request, setup, qualify=form)


@require_POST
@login_required
def setup_retire(request: UserRequest, setup_id: int) -> HttpResponse:
    setup = access.setup_for_reader(request.user, setup_id)
    form = RetirementForm(request.POST)
    if form.is_valid():
        try:
            services.retire_setup(
                setup=setup, actor=request.user, at=timezone.now(), **form.cleaned_data
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("“%(name)s” is out of use.") % {"name": setup.name})
            return redirect("assessments:setup_list")
    return _detail(request, setup, retire=form)


def _detail(
    request: UserRequest,
    setup: PhotoSetup,
    qualify: QualificationForm | None = None,
    retire: Form | None = None,
) -> HttpResponse:
    context = {
        "setup": setup,
        "qualifications": qualification_rows(setup),
        "retirement": getattr(setup, "retirement", None),
        "form": qualify or QualificationForm(initial={"done_on": setup.site.today()}),
        "retire_form": retire or RetirementForm(),
    }
    status = 422 if qualify or retire else 200
    return render(request, "assessments/photo_setup.html", context, status=status)


@require_POST
@login_required
def photo_setup_choose(request: UserRequest, key: str) -> HttpResponse:
    """Say in which set-up a photograph was taken, and go on measuring it."""
    photo = access.photo_for_editor(request.user, key)
    form = ChooseSetupForm(request.POST, site=photo.board.site)
    try:
        if not form.is_valid():
            raise AssessmentError(str(form.errors["setup"][0]))
        services.choose_setup(
            photo=photo,
            setup=form.cleaned_data["setup"],
            actor=request.user,
            at=timezone.now(),
        )
    except AssessmentError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("The photograph counts as taken so."))
    wanted = ("criterion", "joint", "quantity")
    query = {name: request.POST[name] for name in wanted if request.POST.get(name)}
    return redirect(measure_url(photo, **query))
