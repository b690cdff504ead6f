"""Who is whom at the provider, and what a fresh sign-in there proves.

A link is made by its owner, after password and second factor and a fresh sign-in at the provider.
An equal e-mail address is none: whoever changes an address here, or has one given at the provider,
would sign in as somebody else.
"""

import secrets
from datetime import datetime

from django.conf import settings
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from people.exceptions import PeopleError, ProofRefused
from people.models import PasskeyChallenge, ProviderLink, User
from records.services import trail

from .passkeys import ANSWERED_WITHIN, Purpose

PROVIDER_TICKET = "provider_ticket"  # In the session.
LINKED, UNLINKED = "provider linked", "provider unlinked"


def user_of(subject: str, at: datetime) -> User | None:
    """Whose sign-in a subject at the provider is linked to, if it opens anything."""
    link = (
        ProviderLink.objects.filter(issuer=settings.OIDC_ISSUER, subject=subject)
        .select_related("user__person__site")
        .first()
    )
    return link.user if link is not None and link.user.may_sign_in(at) else None


def link_of(user: User) -> ProviderLink | None:
    return ProviderLink.objects.filter(user_id=user.pk, issuer=settings.OIDC_ISSUER).first()


@transaction.atomic
def link_provider(*, user: User, subject: str, proof: str, at: datetime) -> ProviderLink:
    """Link who has just proved who they are here to whom the provider says they are.

    Raises
    ------
    PeopleError
        If either is linked already.
    """
    try:
        with transaction.atomic():
            ProviderLink.objects.filter(user=user).exclude(issuer=settings.OIDC_ISSUER).delete()
            link = ProviderLink.objects.create(
                user=user, issuer=settings.OIDC_ISSUER, subject=subject, recorded_at=at
            )
    except IntegrityError as error:
        raise PeopleError(
            _("You, or whoever signed in there, are linked already. Unlink that first.")
        ) from error
    payload = {"provider": settings.OIDC_ISSUER, "proof": proof, "from": user.from_address}
    trail.record(actor=user, act=LINKED, about=user, payload=payload, at=at)
    return link


@transaction.atomic
def unlink_provider(*, user: User, proof: str, at: datetime) -> bool:
    """Undo one's link; return whether there was one."""
    deleted, _rows = ProviderLink.objects.filter(user=user).delete()
    if deleted:
        trail.record(actor=user, act=UNLINKED, about=user, payload={"proof": proof}, at=at)
    return bool(deleted)


def give_ticket(user: User, subject: str, at: datetime) -> str:
    """What stands for a fresh sign-in at the provider, for one signature within five minutes.

    Raises
    ------
    ProofRefused
        If it was somebody else who signed in there.
    """
    found = user_of(subject, at)
    if found is None or found.pk != user.pk:
        raise ProofRefused(_("It was somebody else who signed in there, so it proves nothing."))
    ticket = secrets.token_urlsafe(32)
    PasskeyChallenge.objects.create(
        user=user, purpose=Purpose.PROVIDER, challenge=ticket, made_at=at
    )
    return ticket


def _tickets(user: User, ticket: str, at: datetime):
    return PasskeyChallenge.objects.filter(
        user=user,
        purpose=Purpose.PROVIDER,
        challenge=ticket,
        made_at__gt=at - ANSWERED_WITHIN,
    )


def is_good_ticket(user: User, ticket: str, at: datetime) -> bool:
    return bool(ticket) and _tickets(user, ticket, at).exists()


def use_ticket(user: User, ticket: str, at: datetime) -> bool:
    """Take a ticket; of two acts at once one has it."""
    deleted, _rows = _tickets(user, ticket, at).delete()
    return bool(deleted)
