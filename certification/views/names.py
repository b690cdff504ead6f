"""Certificates issued again under the name that their holder has now."""

from datetime import datetime
from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from certification import access
from certification.forms.certificates import IssueAgainForm
from certification.presenters.signing_shown import issuing_again_shown
from certification.services.acts import Act
from certification.services.names import issue_again
from people.access import UserRequest
from people.models import User
from people.views.person_forms import FORM_METHODS, post_data, save_person_fact


@require_http_methods(FORM_METHODS)
@login_required
def certificates_issue_again(request: UserRequest, employee_number: str) -> HttpResponse:
    person = access.person_for_quality(request.user, employee_number)
    now = timezone.now()
    form = IssueAgainForm(post_data(request), showing=issuing_again_shown(person, now))
    texts = {
        "title": _("Issue certificates again"),
        "lead": _(
            "They then bear the name %(name)s. Numbers, periods and standing stay, and their pages "
            "go on to say under which name each was issued first. Take the earlier papers back."
        )
        % {"name": person.full_name},
        "submit": _("Issue again and sign"),
        "done": _("Issued again. Print the cards from each certificate."),
    }

    def act(*, reason: str, proof: str, shown: str, actor: User, at: datetime, **more: Any) -> None:
        signed = Act(actor=actor, at=at, proof=proof, reason=reason, shown=shown)
        issue_again(person=person, act=signed)

    return save_person_fact(
        request, person, form, texts, act, showing=lambda: issuing_again_shown(person, now)
    )
