"""Erasing who somebody was: what stays is their number, what was certified, and who signed.

The row of a person stays, since certificates, boards and stamps name it; it bears the number
instead of the name. The trail says so, and still verifies (`records.services.removals`).
"""

import re
from datetime import datetime
from typing import Any

from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from django.contrib.admin.models import LogEntry
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from people import ports
from people.exceptions import PeopleError
from people.models import (
    BadgePin,
    NameChange,
    PasskeyChallenge,
    Person,
    ProviderLink,
    SignInCode,
    SiteRole,
    User,
)
from people.queries.erased import PERSON, is_erased
from records.domain.kinds import kind_of
from records.queries.removals import What
from records.services import removals
from records.services.trail import Actor

from .people import lock_person


@transaction.atomic
def erase_person(*, person: Person, reason: str, actor: Actor, at: datetime) -> Person:
    """Erase names, addresses, employer and sign-in of somebody who has left.

    Raises
    ------
    PeopleError
        If they have not left, nothing came back since they were erased, or the reason names them.
    """
    person = lock_person(person)
    if not person.has_left(at):
        raise PeopleError(
            _("%(person)s has not left: enter the last day first.") % {"person": person}
        )
    texts = _names_and_addresses(person)
    if is_erased(person) and not texts and not person.employer:
        raise PeopleError(
            _("The name of %(number)s was erased before.") % {"number": person.employee_number}
        )
    if actor is not None and any(_names(reason, text) for text in texts):
        raise PeopleError(_("Say why without their name or address: the reason stays."))
    texts |= _said(ports.names(person), person)
    # Looked for before anything is removed: from then on nobody else writes to the trail.
    sought = removals.look_for(texts)
    things = [(PERSON, str(person.pk))]
    removals.remove(things=things, what=What.NAME, reason=reason, actor=actor, at=at)
    person.full_name, person.email, person.employer = person.employee_number, "", ""
    person.save(update_fields=["full_name", "email", "employer"])
    _remove_changes_of_name(person, reason, actor, at)
    _close_sign_in(person)
    ports.erase(ports.Erasure(person=person, texts=frozenset(texts), reason=reason, at=at))
    removals.erase_names(
        sought=sought,
        shared=_of_others_too(texts, person),
        instead=person.employee_number,
        person_id=person.pk,
        reason=reason,
        actor=actor,
        at=at,
    )
    return person


def _names(reason: str, text: str) -> bool:
    """Whether a reason has somebody's name or address in it, as words of its own."""
    return bool(re.search(rf"(?<!\w){re.escape(text)}(?!\w)", reason, re.IGNORECASE))


def _names_and_addresses(person: Person) -> set[str]:
    changes = person.name_changes.values_list("before", "after")
    addresses = User.objects.filter(person=person).values_list("email", flat=True)
    texts = {person.full_name, person.email, *addresses, *(name for row in changes for name in row)}
    return _said(texts, person)


def _said(texts: set[str], person: Person) -> set[str]:
    """What of it is a name or an address: a number stands where one was erased before."""
    former = person.former_numbers.values_list("employee_number", flat=True)
    return {text for text in texts if text.strip()} - {person.employee_number, *former}


def _of_others_too(texts: set[str], person: Person) -> set[str]:
    others = Person.objects.exclude(pk=person.pk)
    return {
        text
        for text in texts
        if others.filter(Q(full_name__iexact=text) | Q(email__iexact=text)).exists()
    }


def _remove_changes_of_name(person: Person, reason: str, actor: Actor, at: datetime) -> None:
    changes = NameChange.objects.filter(person=person)
    kind = kind_of(NameChange.__name__)
    things = [(kind, str(key)) for key in changes.values_list("pk", flat=True)]
    removals.remove(things=things, reason=reason, actor=actor, at=at)
    changes.delete()


def _close_sign_in(person: Person) -> None:
    """The row stays, since it signed and acted; nothing opens it any more."""
    user = User.objects.filter(person=person).first()
    if user is None:
        return
    user.email, user.is_active, user.last_login = "", False, None
    user.set_unusable_password()
    user.save(update_fields=["email", "is_active", "last_login", "password"])
    models: tuple[type[Any], ...] = (
        *(SiteRole, ProviderLink, SignInCode, BadgePin, PasskeyChallenge),
        *(EmailAddress, Authenticator, LogEntry),
    )
    for model in models:
        model._default_manager.filter(user=user).delete()
