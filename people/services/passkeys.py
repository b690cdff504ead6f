"""Passkeys (WebAuthn): registered, and used in place of a code or of the whole proof.

Each asks the device to make sure that its owner is there (by PIN, finger or face), so that one is
something held and something known at once.
"""

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from datetime import datetime, timedelta
from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit

from allauth.mfa.models import Authenticator
from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _
from fido2.server import Fido2Server
from fido2.utils import websafe_encode
from fido2.webauthn import (
    AttestedCredentialData,
    AuthenticationResponse,
    PublicKeyCredentialRpEntity,
    PublicKeyCredentialUserEntity,
    RegistrationResponse,
    ResidentKeyRequirement,
    UserVerificationRequirement,
)

from people.exceptions import PeopleError
from people.models import PasskeyChallenge, User
from people.queries.second_factors import PASSKEY

from .second_factors import added, lock_factors, try_second_factor

ANSWERED_WITHIN = timedelta(minutes=5)
MAX_PASSKEYS = 10
MAX_CHALLENGES = 20  # Of one person, open at once.
BY_PASSKEY = "passkey"
Purpose = PasskeyChallenge.Purpose

# Whatever a browser may send that fido2 cannot read: it says so in several ways.
UNREADABLE = (ValueError, TypeError, KeyError, AttributeError, IndexError)


def are_possible() -> bool:
    """Whether browsers take passkeys at `PUBLIC_URL`: by https at a name, or at localhost."""
    public = urlsplit(settings.PUBLIC_URL)
    try:
        ip_address(str(public.hostname))
    except ValueError:
        return public.scheme == "https" or public.hostname == "localhost"
    return False


def has_passkey(user: User) -> bool:
    return Authenticator.objects.filter(user_id=user.pk, type=PASSKEY).exists()


def _server() -> Fido2Server:
    """Holds passkeys to this site's own address, whatever host a request names."""
    public = urlsplit(settings.PUBLIC_URL)
    origin = f"{public.scheme}://{public.netloc}"
    return Fido2Server(
        PublicKeyCredentialRpEntity(id=str(public.hostname), name="Jointworthy"),
        verify_origin=lambda asked: asked == origin,
    )


def _credentials(user: User) -> dict[bytes, Authenticator]:
    rows = Authenticator.objects.filter(user_id=user.pk, type=PASSKEY)
    return {_credential_of(row).credential_id: row for row in rows}


def _credential_of(row: Authenticator) -> AttestedCredentialData:
    return AttestedCredentialData(urlsafe_b64decode(row.data["credential"]))


def registration_options(user: User, at: datetime) -> dict[str, Any]:
    """What a browser is asked to make a passkey by, as JSON."""
    options, state = _server().register_begin(
        PublicKeyCredentialUserEntity(
            # Numbers of sign-ins are no secret, and names are shown on the device alone.
            id=f"jointworthy-{user.pk}".encode(),
            name=user.employee_number,
            display_name=str(user),
        ),
        [_credential_of(row) for row in _credentials(user).values()],
        resident_key_requirement=ResidentKeyRequirement.PREFERRED,
        user_verification=UserVerificationRequirement.REQUIRED,
    )
    _keep_challenge(user, Purpose.REGISTER, state["challenge"], at)
    return dict(options)


def options_for_use(user: User, purpose: str, at: datetime) -> dict[str, Any]:
    """What a browser is asked to show one of somebody's passkeys by, as JSON.

    Raises
    ------
    PeopleError
        If they have none.
    """
    credentials = [_credential_of(row) for row in _credentials(user).values()]
    if not credentials:
        raise PeopleError(_("You have no passkey."))
    options, state = _server().authenticate_begin(
        credentials, user_verification=UserVerificationRequirement.REQUIRED
    )
    _keep_challenge(user, purpose, state["challenge"], at)
    return dict(options)


def _keep_challenge(user: User, purpose: str, challenge: str, at: datetime) -> None:
    """Keep what an answer has to repeat; of what was asked long ago or often, nothing."""
    theirs = PasskeyChallenge.objects.filter(user=user)
    theirs.filter(made_at__lt=at - ANSWERED_WITHIN).delete()
    PasskeyChallenge.objects.create(user=user, purpose=purpose, challenge=challenge, made_at=at)
    for oldest in theirs.order_by("-pk").values_list("pk", flat=True)[MAX_CHALLENGES:]:
        theirs.filter(pk=oldest).delete()


def _take_challenge(user: User, purpose: str, challenge: bytes, at: datetime) -> str | None:
    """What was asked, if for this and not answered yet; of two answers at once one has it."""
    asked = PasskeyChallenge.objects.filter(
        user=user,
        purpose=purpose,
        challenge=websafe_encode(challenge),
        made_at__gt=at - ANSWERED_WITHIN,
    )
    deleted, _rows = asked.delete()
    return websafe_encode(challenge) if deleted else None


@transaction.atomic
def register_passkey(*, user: User, name: str, answer: str, at: datetime) -> list[str]:
    """Keep a passkey that a browser has just made; return recovery codes that are new.

    Whoever calls has just had the proof for it.

    Raises
    ------
    PeopleError
        If the answer is not to what was asked for this just now, or there are too many.
    """
    lock_factors(user)
    theirs = Authenticator.objects.filter(user=user, type=PASSKEY)
    if theirs.count() >= MAX_PASSKEYS:
        raise PeopleError(_("Ten passkeys are the most. Remove one first."))
    refused = PeopleError(_("The passkey was not made, or not for this page. Try it again."))
    try:
        response = RegistrationResponse.from_dict(json.loads(answer))
        challenge = response.response.client_data.challenge
        asked = _take_challenge(user, Purpose.REGISTER, challenge, at)
        if asked is None:
            raise refused
        state = {
            "challenge": asked,
            "user_verification": UserVerificationRequirement.REQUIRED,
        }
        made = _server().register_complete(state, response)
    except UNREADABLE as error:
        raise refused from error
    assert made.credential_data is not None  # noqa: S101
    credential = urlsafe_b64encode(bytes(made.credential_data)).decode()
    if made.credential_data.credential_id in _credentials(user):
        raise PeopleError(_("This passkey is registered already."))
    Authenticator.objects.create(
        user=user,
        type=PASSKEY,
        data={"name": name, "credential": credential, "uses": made.counter},
        created_at=at,
    )
    return added(user, BY_PASSKEY, at)


def use_passkey(user: User, answer: str, purpose: str, at: datetime) -> str:
    """Check what a browser says with one of somebody's passkeys; return `BY_PASSKEY`.

    Call it outside the transaction of what it is for, as `second_factors.use_code`.

    Raises
    ------
    TriedTooOften
        If too many tries were wrong just now.
    ProofRefused
        If it is not the answer to what was asked for this purpose just now.
    """
    refusal = _("The passkey was not recognised, or took too long. Try it again.")
    return try_second_factor(user, at, lambda: _use_passkey(user, answer, purpose, at), refusal)


@transaction.atomic
def _use_passkey(user: User, answer: str, purpose: str, at: datetime) -> str | None:
    lock_factors(user)
    credentials = _credentials(user)
    try:
        response = AuthenticationResponse.from_dict(json.loads(answer))
        challenge = response.response.client_data.challenge
        asked = _take_challenge(user, purpose, challenge, at)
        if asked is None:
            return None
        state = {
            "challenge": asked,
            "user_verification": UserVerificationRequirement.REQUIRED,
        }
        used = _server().authenticate_complete(
            state, [_credential_of(row) for row in credentials.values()], response
        )
        uses = response.response.authenticator_data.counter
    except UNREADABLE:
        return None
    row = credentials[used.credential_id]
    known = row.data["uses"]
    if (uses or known) and uses <= known:
        return None  # A copy of it was used before.
    row.data["uses"] = uses
    row.last_used_at = at
    row.save(update_fields=["data", "last_used_at"])
    return BY_PASSKEY
