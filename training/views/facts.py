"""What is written down about somebody: vision tests, practice, stamps."""

from functools import partial

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from people import access
from people.access import UserRequest
from people.views.person_forms import FORM_METHODS, post_data, save_person_fact
from records.domain.shown import Shown
from training import ports
from training.forms.facts import PracticeForm, ReasonForm, VisionTestForm
from training.presenters.facts_shown import practice_shown, vision_test_shown
from training.services import facts as services


@require_http_methods(FORM_METHODS)
@login_required
def vision_test_new(request: UserRequest, employee_number: str) -> HttpResponse:
    person = access.person_with_right(request.user, employee_number, "facts")
    form = VisionTestForm(post_data(request), initial={"tested_on": person.site.today()})
    texts = {
        "title": _("Record a vision test"),
        "lead": _("Result and day alone: no other medical detail is kept."),
        "submit": _("Record the test"),
        "done": _("The vision test is recorded."),
        "already": _("This vision test was recorded so already, and is not recorded twice."),
    }
    return save_person_fact(
        request, person, form, texts, partial(services.record_vision_test_once, person=person)
    )


@require_http_methods(FORM_METHODS)
@login_required
def vision_test_withdraw(request: UserRequest, employee_number: str, test_id: str) -> HttpResponse:
    person = access.person_with_right(request.user, employee_number, "facts")
    test = get_object_or_404(
        person.vision_tests.filter(withdrawal__isnull=True).select_related("person__site"),
        test_id=test_id,
    )
    texts = {
        "title": _("Withdraw vision test %(number)s") % {"number": test.test_id},
        "lead": _(
            "For a test entered in error. From now on it counts as never entered, and standings "
            "are worked out again without it. The record of it stays."
        ),
        "submit": _("Withdraw the test and sign"),
        "done": _("The vision test is withdrawn."),
    }

    def showing() -> Shown:
        test.refresh_from_db()
        return vision_test_shown(test, timezone.now())

    form = ReasonForm(post_data(request), showing=showing())
    act = partial(services.withdraw_vision_test, vision_test=test)
    return save_person_fact(request, person, form, texts, act, showing=showing)


@require_http_methods(FORM_METHODS)
@login_required
def practice_new(request: UserRequest, employee_number: str) -> HttpResponse:
    person = access.person_with_right(request.user, employee_number, "facts")
    form = PracticeForm(
        post_data(request), scopes=ports.scopes(), initial={"performed_on": person.site.today()}
    )
    texts = {
        "title": _("Record practice"),
        "lead": _("You confirm that they did work within this scope on that day."),
        "submit": _("Record practice"),
        "done": _("The work is recorded."),
        "already": _("This work was recorded so already, and is not recorded twice."),
    }
    return save_person_fact(
        request, person, form, texts, partial(services.record_practice_once, person=person)
    )


@require_http_methods(FORM_METHODS)
@login_required
def practice_withdraw(request: UserRequest, employee_number: str, practice_id: int) -> HttpResponse:
    person = access.person_with_right(request.user, employee_number, "facts")
    practice = get_object_or_404(
        person.practice.filter(withdrawal__isnull=True).select_related("person__site"),
        pk=practice_id,
    )
    texts = {
        "title": _("Withdraw practice in %(scope)s") % {"scope": practice.scope_code},
        "lead": _(
            "For work entered in error. From now on it counts as never entered, and standings "
            "are worked out again without it. The record of it stays."
        ),
        "submit": _("Withdraw the work and sign"),
        "done": _("The work is withdrawn."),
    }

    def showing() -> Shown:
        practice.refresh_from_db()
        return practice_shown(practice, timezone.now())

    form = ReasonForm(post_data(request), showing=showing())
    act = partial(services.withdraw_practice, practice=practice)
    return save_person_fact(request, person, form, texts, act, showing=showing)
