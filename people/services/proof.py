"""Proving again who one is, before a signature."""

from django.utils import timezone
from django.utils.translation import gettext as _

from people.exceptions import ProofRefused
from people.models import User


def prove_identity(user: User, password: str) -> str:
    """Check the signer's password; return the kind of proof that a signature records.

    Raises
    ------
    ProofRefused
        If the password is not the user's, or somebody else knows it, or they may not sign in.
    """
    is_open = user.may_sign_in(timezone.now()) and not user.password_is_one_time
    if not (is_open and password and user.check_password(password)):
        raise ProofRefused(
            _("That is not your password, so nothing was signed. Type it again, or reset it.")
        )
    return "password"
