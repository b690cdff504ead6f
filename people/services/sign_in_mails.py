"""Mails about a sign-in that go out once what they tell of is stored."""

from datetime import datetime

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils.translation import gettext as _

from people.models import User
from people.queries.languages import in_language, language_of


def send_address_changed(*, user: User, former: str, actor: User | str, at: datetime) -> None:
    """Tell the address that a sign-in had until now that links go elsewhere from here on.

    Whoever put in an address of their own would otherwise be the only one to know.
    """
    person = user.person
    day = (person.site.today(at) if person else at.date()).strftime("%Y-%m-%d")
    with in_language(language_of(person)):
        subject = _("The address of your sign-in has changed")
        body = _(
            "Your sign-in %(number)s at %(place)s has used this address until now. On %(day)s it "
            "was replaced by %(actor)s. Links to set a new password no longer come here.\n\n"
            "If you did not ask for that, tell an administrator of your site today."
        ) % {
            "number": user.employee_number,
            "place": settings.PUBLIC_URL,
            "day": day,
            "actor": str(actor),
        }
    message = EmailMessage(subject, body + "\n", to=[former])
    # A mail server that does not answer undoes no change.
    transaction.on_commit(message.send, robust=True)
