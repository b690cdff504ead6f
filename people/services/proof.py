"""Proving again who one is, before a signature."""

from dataclasses import dataclass, field
from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _

from people.exceptions import ProofRefused, WrongPassword
from people.models import User
from people.queries.second_factors import has_second_factor, lacks_second_factor
from records.models import Proof

from . import passkeys, provider, provider_links
from .second_factors import use_code
from .sign_in_trail import PROOF_REFUSED, record_bounded
from .tries import count_try, forget_tries, password_tries


@dataclass(frozen=True)
class Given:
    """What somebody gives to prove who they are.

    The password, or the ticket of a fresh sign-in at the provider, and a code where one is asked;
    or what the browser says with a passkey, as JSON.
    """

    password: str = field(default="", repr=False)
    code: str = field(default="", repr=False)
    passkey: str = field(default="", repr=False)
    provider: str = field(default="", repr=False)


@dataclass(frozen=True)
class Asked:
    """What somebody is asked for as proof."""

    code: bool = False
    passkey: bool = False
    provider: bool = False


def proof_asked(user: User, *, of_factors: bool = False) -> Asked:
    """What a page asks somebody for, before it is given; see `prove_identity`."""
    by_provider = provider.is_set_up() and provider_links.link_of(user) is not None
    if not has_second_factor(user):
        return Asked(provider=by_provider)
    return Asked(
        provider=by_provider,
        code=of_factors or user.signs_with_second_factor,
        passkey=passkeys.are_possible() and passkeys.has_passkey(user),
    )


def prove_identity(user: User, given: Given | str, *, of_factors: bool = False) -> str:
    """Check what a signer gives; return the kind of proof that a signature records.

    Call it before the act that it is for and outside its transaction, which may be rolled back:
    wrong tries have to stay counted, and a code that was used stays used.

    Parameters
    ----------
    given : Given or str
        A string is a password alone.
    of_factors : bool
        Whether it is for second factors themselves: whoever has one gives it, whatever their sites
        ask for signatures, and whoever has none is about to.

    Raises
    ------
    TriedTooOften
        If too many tries were wrong just now.
    WrongPassword
        If the password is not the user's, or somebody else knows it, or they may not sign in.
    ProofRefused
        If a code is missing, wrong or used, or they have yet to set up a second factor.
    """
    at = timezone.now()
    given = Given(given) if isinstance(given, str) else given
    if given.passkey:
        return _prove_by_passkey(user, given.passkey, at)
    if given.provider and not given.password:
        proof = Proof.PROVIDER
        _refuse_closed(user, at)
        if not provider_links.is_good_ticket(user, given.provider, at):
            raise _stale_ticket()
    else:
        proof = Proof.PASSWORD
        _prove_by_password(user, given.password, at)
    if not of_factors and lacks_second_factor(user):
        raise ProofRefused(_("Your site asks you for a second factor. Set it up first."))
    if proof_asked(user, of_factors=of_factors).code:
        prove_second_factor(user, given, at)
        proof = Proof.CODE if proof == Proof.PASSWORD else proof
    # Last, so that a wrong code costs nobody another way to the provider.
    if proof == Proof.PROVIDER and not provider_links.use_ticket(user, given.provider, at):
        raise _stale_ticket()
    return proof


def _prove_by_password(user: User, password: str, at: datetime) -> None:
    if not is_own_password(user, password, at) or user.password_is_one_time:
        record_bounded(PROOF_REFUSED, user, address=user.from_address, at=at)
        raise WrongPassword(
            _("That is not your password, so nothing was signed. Type it again, or reset it.")
        )


def _stale_ticket() -> ProofRefused:
    return ProofRefused(_("Your sign-in there is used or too long ago. Sign in there once more."))


def _refuse_closed(user: User, at: datetime) -> None:
    if not user.may_sign_in(at) or user.password_is_one_time:
        raise ProofRefused(_("Your sign-in is closed, or its password is not your own yet."))


def _prove_by_passkey(user: User, answer: str, at: datetime) -> str:
    """A passkey proves alone: the device has asked its owner for a PIN, finger or face."""
    _refuse_closed(user, at)
    passkeys.use_passkey(user, answer, passkeys.Purpose.PROOF, at)
    return Proof.PASSKEY


def prove_second_factor(user: User, given: Given, at: datetime) -> None:
    """Check the code of who has a second factor, once the password was right; see `use_code`."""
    if not has_second_factor(user):
        return
    if not given.code:
        raise ProofRefused(_("Type the code of your app too, and the password once more."))
    use_code(user, given.code, at)


def is_own_password(user: User, password: str, at: datetime) -> bool:
    """Whether it is the password of who is signed in and may be; wrong ones wait ever longer.

    Raises
    ------
    TriedTooOften
        If too many tries were wrong just now.
    """
    tries = password_tries(user)
    count_try(tries, at)
    if not (user.may_sign_in(at) and password and user.check_password(password)):
        return False
    forget_tries(tries)
    return True
