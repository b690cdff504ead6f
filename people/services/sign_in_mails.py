"""Mails about a sign-in: the link to a new password, and news of where such links go."""

import logging
from datetime import datetime

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import User
from people.queries.languages import in_language, language_of

from .reset_links import reset_link, users_at_address
from .sign_in_trail import LINK_SENT, record_bounded

log = logging.getLogger(__name__)


def send_reset_links(email: str, language: str) -> None:
    """Send whoever has this address in their record a link to set a new password.

    Nobody learns from an error either whether somebody has it.
    """
    for user in users_at_address(email):
        with in_language(language):
            subject = _("Set a new password")
            body = _(
                "Somebody, most likely you, asked for a link to set a new password for the "
                "sign-in %(number)s at %(place)s. It works once, within an hour:\n\n"
                "%(link)s\n\n"
                "If it was not you, do nothing: your password stays as it is."
            ) % {
                "number": user.employee_number,
                "place": settings.PUBLIC_URL,
                "link": reset_link(user),
            }
        _send_link(user, subject, body)


def send_password_link(user: User) -> bool:
    """Send whoever was given a sign-in, or lost their password, a link to choose one.

    It goes to the address in their record; return whether it was sent.
    """
    with in_language(language_of(user.person)):
        subject = _("Choose your password")
        body = _(
            "An administrator has asked you to choose the password of your sign-in %(number)s at "
            "%(place)s. This link works once, within an hour:\n\n"
            "%(link)s\n\n"
            "Later, ask for another one at %(place)s under “I forgot my password”. Nobody else "
            "knows your password, and nobody may ask you for it."
        ) % {
            "number": user.employee_number,
            "place": settings.PUBLIC_URL,
            "link": reset_link(user),
        }
    return _send_link(user, subject, body)


def _send_link(user: User, subject: str, body: str) -> bool:
    try:
        EmailMessage(subject, body + "\n", to=[user.person.email]).send()  # type: ignore[union-attr]
    except OSError:
        log.exception("The link to a new password was not sent.")
        return False
    record_bounded(LINK_SENT, user, address="", at=timezone.now())
    return True


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


NEWS = {
    "second factor added": gettext_lazy("a second factor was added"),
    "second factor removed": gettext_lazy("a second factor was removed"),
    "second factor reset": gettext_lazy("every second factor was taken away"),
    "recovery codes made anew": gettext_lazy("new recovery codes were made"),
}


def send_second_factor_news(*, user: User, act: str, actor: User | str, at: datetime) -> None:
    """Tell somebody what changed of their second factors, whoever did it."""
    person = user.person
    if person is None or not person.email:
        return
    with in_language(language_of(person)):
        subject = _("Your second factor has changed")
        body = _(
            "Your sign-in %(number)s at %(place)s: on %(day)s, %(news)s by %(actor)s.\n\n"
            "If you did not ask for that, tell an administrator of your site today."
        ) % {
            "number": user.employee_number,
            "place": settings.PUBLIC_URL,
            "news": NEWS[act],
            "day": person.site.today(at).strftime("%Y-%m-%d"),
            "actor": str(actor),
        }
    message = EmailMessage(subject, body + "\n", to=[person.email])
    transaction.on_commit(message.send, robust=True)
