"""Second factors: an app's codes, passkeys, and the recovery codes that stand in for them."""

import secrets
from base64 import b32encode
from collections.abc import Callable
from datetime import datetime

from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from django.db import transaction
from django.utils.translation import gettext as _

from people.domain.totp import matching_step
from people.exceptions import PeopleError, ProofRefused
from people.models import ProviderLink, User
from people.queries.reach import may_reset_sign_in
from people.queries.second_factors import (
    FACTORS,
    PASSKEY,
    RECOVERY_CODES,
    TOTP,
)
from records.services import trail

from .kept_secrets import decrypt, encrypt, encrypt_again
from .sign_in_mails import send_second_factor_news
from .sign_in_trail import CODE_REFUSED, record_bounded
from .tries import code_tries, count_try, forget_tries

SECRET_BYTES = 20  # As long as SHA-1's output (RFC 4226, section 4, R6).
SECRETS = {"secret", "seed"}
"""What of a second factor's data is encrypted: an app's secret, what recovery codes come from."""
BY_CODE, BY_RECOVERY_CODE = "code", "recovery code"


def new_secret() -> str:
    """A secret for an app, in Base32."""
    return b32encode(secrets.token_bytes(SECRET_BYTES)).decode()


@transaction.atomic
def enrol_app(*, user: User, secret: str, code: str, at: datetime) -> list[str]:
    """Take an app that has shown a code of its secret; return recovery codes that are new.

    Whoever calls has just checked the password. The code counts as used.

    Raises
    ------
    ProofRefused
        If it is no code of the secret now.
    PeopleError
        If an app is set up already.
    """
    step = matching_step(secret, code, at.timestamp())
    if step is None:
        raise ProofRefused(
            _(
                "That is no code of this secret. See that the phone's clock is right, then type "
                "the next."
            )
        )
    lock_factors(user)
    if Authenticator.objects.filter(user=user, type=TOTP).exists():
        raise PeopleError(_("An app is set up already. Remove it first."))
    data = {"secret": encrypt(secret), "last_step": step}
    Authenticator.objects.create(user=user, type=TOTP, data=data, created_at=at)
    return added(user, "app", at)


def added(user: User, kind: str, at: datetime) -> list[str]:
    """Tell the trail and the owner of a new factor; return recovery codes where there were none."""
    user.second_factor_exists = True  # type: ignore[attr-defined]
    _tell(user, user, "second factor added", {"kind": kind, "from": user.from_address}, at)
    if Authenticator.objects.filter(user=user, type=RECOVERY_CODES).exists():
        return []
    return RecoveryCodes.activate(user).get_unused_codes()


@transaction.atomic
def renew_recovery_codes(*, user: User, proof: str, at: datetime) -> list[str]:
    """Void the recovery codes there were; return new ones, shown once."""
    lock_factors(user)
    if not Authenticator.objects.filter(user=user, type__in=FACTORS).exists():
        raise PeopleError(_("Set up a second factor first: the codes stand in for it."))
    Authenticator.objects.filter(user=user, type=RECOVERY_CODES).delete()
    _tell(user, user, "recovery codes made anew", {"proof": proof}, at)
    return RecoveryCodes.activate(user).get_unused_codes()


@transaction.atomic
def remove_factor(*, user: User, authenticator_id: int, proof: str, at: datetime) -> None:
    """Remove an app or a passkey of one's own; the recovery codes go with the last of them.

    Raises
    ------
    PeopleError
        If it is gone already.
    """
    lock_factors(user)
    theirs = Authenticator.objects.filter(user=user, type__in=FACTORS)
    factor = theirs.filter(pk=authenticator_id).first()
    if factor is None:
        raise PeopleError(_("It was removed already."))
    kind = "passkey" if factor.type == PASSKEY else "app"
    factor.delete()
    if not theirs.exists():
        Authenticator.objects.filter(user=user).delete()
    _tell(user, user, "second factor removed", {"kind": kind, "proof": proof}, at)


@transaction.atomic
def reset_second_factors(*, user: User, actor: User, reason: str, proof: str, at: datetime) -> None:
    """Take away every second factor of somebody who has lost theirs, and their provider's link.

    Raises
    ------
    PeopleError
        If they have none, are the actor, or hold roles beyond the actor's sites.
    """
    if user.pk == actor.pk:
        raise PeopleError(_("Another administrator resets yours. You may remove it yourself."))
    if not may_reset_sign_in(actor, user):
        raise PeopleError(
            _("%(name)s holds roles at another site, whose administrators have to do this.")
            % {"name": user}
        )
    if not forget_factors(
        user=user, actor=actor, details={"reason": reason, "proof": proof}, at=at
    ):
        raise PeopleError(_("%(name)s has no second factor.") % {"name": user})


@transaction.atomic
def forget_factors(*, user: User, actor: User | str, details: dict[str, str], at: datetime) -> bool:
    """Take away every second factor and the provider's link; return whether there was any."""
    lock_factors(user)
    deleted, _rows = Authenticator.objects.filter(user=user).delete()
    unlinked, _rows = ProviderLink.objects.filter(user=user).delete()
    if not (deleted or unlinked):
        return False
    payload = details | {"provider": "unlinked" if unlinked else ""}
    _tell(user, actor, "second factor reset", payload, at)
    return True


def use_code(user: User, code: str, at: datetime) -> str:
    """Use a code of somebody's app, or a recovery code, once; return which it was.

    Call it outside the transaction of what it is for: wrong tries have to stay counted, and what
    was used stays used.

    Raises
    ------
    TriedTooOften
        If too many tries were wrong just now.
    ProofRefused
        If it is wrong or was used.
    """
    refusal = _("That code is wrong or was used before. Type the one that your app shows next.")
    return try_second_factor(user, at, lambda: _use_code(user, code, at), refusal)


def try_second_factor(user: User, at: datetime, use: Callable[[], str | None], refusal: str) -> str:
    """Count a try and look at it; ``use`` returns None for what is wrong."""
    tries = code_tries(user)
    count_try(tries, at)
    used = use()
    if used is None:
        record_bounded(CODE_REFUSED, user, address=user.from_address, at=at)
        raise ProofRefused(refusal)
    forget_tries(tries)
    return used


@transaction.atomic
def _use_code(user: User, code: str, at: datetime) -> str | None:
    locked = Authenticator.objects.select_for_update(no_key=True).filter(user=user)
    rows = {row.type: row for row in locked.exclude(type=PASSKEY).order_by("pk")}
    app = rows.get(TOTP)
    if app is not None:
        secret, last_step = decrypt(app.data["secret"]), app.data["last_step"]
        step = matching_step(secret, code, at.timestamp(), after=last_step)
        if step is not None:
            app.data["last_step"] = step
            app.last_used_at = at
            app.save(update_fields=["data", "last_used_at"])
            return BY_CODE
    recovery = rows.get(RECOVERY_CODES)
    if recovery is not None and RecoveryCodes(recovery).validate_code("".join(code.split())):
        trail.record(
            actor=user,
            act="recovery code used",
            about=user,
            payload={"from": user.from_address},
            at=at,
        )
        return BY_RECOVERY_CODE
    return None


def encrypt_all_again() -> tuple[int, list[str]]:
    """Encrypt what is kept of every second factor under the `SECRET_KEY` of today.

    Each row by itself, under the lock that its use takes; broken off, it is done again.

    Returns
    -------
    tuple of int and list of str
        How many rows there are now under that key, and the employee numbers of whose cannot be
        read and stay as they are.
    """
    count, unreadable = 0, []
    numbers = (
        Authenticator.objects.exclude(type=PASSKEY).order_by("pk").values_list("pk", flat=True)
    )
    for number in list(numbers):
        with transaction.atomic():
            locked = Authenticator.objects.select_for_update(of=["self"])
            row = locked.select_related("user").filter(pk=number).first()
            if row is None:  # Removed meanwhile.
                continue
            try:
                row.data |= {
                    name: encrypt_again(row.data[name]) for name in SECRETS & set(row.data)
                }
            except ValueError:
                unreadable.append(str(row.user.employee_number))
                continue
            row.save(update_fields=["data"])
            count += 1
    return count, sorted(set(unreadable))


def lock_factors(user: User) -> None:
    """Let two acts on one person's factors go one after the other."""
    User.objects.select_for_update(of=("self",), no_key=True).get(pk=user.pk)


def _tell(user: User, actor: User | str, act: str, payload: dict[str, str], at: datetime) -> None:
    trail.record(actor=actor, act=act, about=user, payload=payload, at=at)
    send_second_factor_news(user=user, act=act, actor=actor, at=at)
