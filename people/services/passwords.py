"""A password that its owner chooses: changed under the one before it, or set by a link."""

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from people.exceptions import PeopleError
from people.models import SignInCode, User
from records.services import trail

from .reset_links import reset_tokens


@transaction.atomic
def change_password(*, user: User, password: str, at: datetime) -> None:
    """Set the password of who has just typed the one before; a one-time one ends with it."""
    act = (
        "password chosen after a one-time one" if user.password_is_one_time else "password changed"
    )
    _set_password(user, password, act, at)


@transaction.atomic
def set_password_by_link(*, user: User, token: str, password: str, at: datetime) -> None:
    """Set a password once for a link.

    Raises
    ------
    PeopleError
        If the link was used meanwhile, or is void for another reason.
    """
    locked = User.objects.select_for_update(of=("self",), no_key=True)
    stored = locked.select_related("person__site").get(pk=user.pk)
    if not (stored.may_sign_in(at) and reset_tokens.check_token(stored, token)):
        raise PeopleError(_("This link no longer works. Ask for a new one."))
    _set_password(user, password, "password set by a link", at)


def _set_password(user: User, password: str, act: str, at: datetime) -> None:
    """The password alone is written: meanwhile an administrator may have closed the sign-in."""
    user.set_password(password)
    user.password_is_one_time = False
    user.save(update_fields=["password", "password_is_one_time"])
    SignInCode.objects.void([user], at)
    trail.record(actor=user, act=act, about=user, payload={"from": user.from_address}, at=at)
