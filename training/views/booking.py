"""Classes to come, where people book a place for themselves and give it back."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from people.access import UserRequest, own_person
from training import access
from training.exceptions import TrainingError
from training.presenters.offers import offers_for
from training.services import booking as services


@require_safe
@login_required
def class_offers(request: UserRequest) -> HttpResponse:
    person, now = own_person(request.user), timezone.now()
    context = {
        "person": person,
        "offers": offers_for(person, now),
        "today": person.site.today(now),
    }
    return render(request, "training/class_offers.html", context)


@require_POST
@login_required
def class_book(request: UserRequest, number: str) -> HttpResponse:
    session = access.session_offered_to(request.user, number)
    try:
        services.book_place(
            session=session,
            person=own_person(request.user),
            actor=request.user,
            at=timezone.now(),
        )
    except TrainingError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("You have a place in %(number)s.") % {"number": number})
    return redirect("training:class_offers")


@require_POST
@login_required
def class_book_waiting(request: UserRequest, number: str) -> HttpResponse:
    session = access.session_offered_to(request.user, number)
    try:
        waits = services.book_waiting(
            session=session,
            person=own_person(request.user),
            actor=request.user,
            at=timezone.now(),
        )
    except TrainingError as error:
        messages.error(request, str(error))
    else:
        said = _("You wait for a place in %(number)s, and are told when you get one.")
        if waits is None:
            said = _("You have a place in %(number)s.")
        messages.success(request, said % {"number": number})
    return redirect("training:class_offers")


@require_POST
@login_required
def class_give_back(request: UserRequest, number: str) -> HttpResponse:
    session = access.session_offered_to(request.user, number)
    try:
        services.give_back(
            session=session,
            person=own_person(request.user),
            actor=request.user,
            at=timezone.now(),
        )
    except TrainingError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("Your place in %(number)s is free again.") % {"number": number})
    return redirect("training:class_offers")
