"""Moving somebody to another site from a day on, and withdrawing a move."""

from functools import partial

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from people import access
from people.access import UserRequest
from people.forms.people import MoveForm, MoveWithdrawalForm
from people.models import Site
from people.models.memberships import FROM_THE_BEGINNING
from people.services import moves as services

from .person_forms import FORM_METHODS, post_data, save_person_fact


@require_http_methods(FORM_METHODS)
@login_required
def person_move(request: UserRequest, employee_number: str) -> HttpResponse:
    person = access.person_with_right(request.user, employee_number, "edit")
    sites = Site.objects.filter(pk__in=access.enrolling_site_ids(request.user))
    texts = {
        "title": _("Move to another site"),
        "lead": _(
            "From that day on they belong to the people of the other site, and have no line lead "
            "until one is chosen. The former site still reads what was until then: the register of "
            "a past day, work logs, and the certificates it issued."
        ),
        "submit": _("Enter the move"),
        "done": _("The move is entered."),
    }
    form = MoveForm(post_data(request), sites=sites)
    act = partial(services.move_person, person=person)
    return save_person_fact(request, person, form, texts, act, ends="people:person_list")


@require_http_methods(FORM_METHODS)
@login_required
def move_withdraw(request: UserRequest, employee_number: str, move_id: int) -> HttpResponse:
    person = access.person_with_right(request.user, employee_number, "edit")
    moves = person.site_memberships.not_withdrawn().filter(from_day__gt=FROM_THE_BEGINNING)
    move = get_object_or_404(moves.select_related("site"), pk=move_id)
    texts = {
        "title": _("Withdraw the move to %(site)s") % {"site": move.site},
        "lead": _(
            "For a move entered in error. From now on it counts as never entered; the record of "
            "it stays."
        ),
        "submit": _("Withdraw the move"),
        "done": _("The move is withdrawn."),
    }
    form = MoveWithdrawalForm(post_data(request))
    act = partial(services.withdraw_move, membership=move)
    return save_person_fact(request, person, form, texts, act, ends="people:person_list")
