"""Proving again who one is, before a signature."""

from django.utils.translation import gettext as _

from people.exceptions import ProofRefused
from people.models import User


def prove_identity(user: User, password: str) -> str:
    """Check the signer's password; return the kind of proof that a signature records.

    Raises
    ------
    ProofRefused
        If the password is not the user's, or somebody else knows it, or the user was switched off.
    """
    known_to_others = user.password_is_one_time
    if known_to_others or not (user.is_active and password and user.check_password(password)):
        raise ProofRefused(
            _("That is not your password, so nothing was signed. Type it again, or reset it.")
        )
    return "password"
