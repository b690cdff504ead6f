"""Proving again who one is, before a signature."""

from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _

from people.exceptions import ProofRefused
from people.models import User

from .sign_in_trail import PROOF_REFUSED, record_bounded
from .tries import count_try, forget_tries, password_tries


def prove_identity(user: User, password: str) -> str:
    """Check the signer's password; return the kind of proof that a signature records.

    Call it before the act that it is for and outside its transaction, which may be rolled back:
    wrong tries have to stay counted.

    Raises
    ------
    TriedTooOften
        If too many tries were wrong just now.
    ProofRefused
        If the password is not the user's, or somebody else knows it, or they may not sign in.
    """
    at = timezone.now()
    if not is_own_password(user, password, at) or user.password_is_one_time:
        record_bounded(PROOF_REFUSED, user, address=user.from_address, at=at)
        raise ProofRefused(
            _("That is not your password, so nothing was signed. Type it again, or reset it.")
        )
    return "password"


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
