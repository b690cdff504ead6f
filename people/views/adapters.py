"""How sign-in differs here from what allauth does by itself."""

from allauth.account.adapter import DefaultAccountAdapter
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils.translation import gettext as _

from people.models import User


class AccountAdapter(DefaultAccountAdapter):
    """Sign-ins are made by an administrator; nobody signs up."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def set_password(self, user: User, password: str) -> None:
        """Set a password that its owner chose, which ends a one-time one."""
        user.password_is_one_time = False
        super().set_password(user, password)

    def clean_password(self, password: str, user: User | None = None) -> str:
        if user is not None and user.password_is_one_time and user.check_password(password):
            raise ValidationError(_("This is the password you were given. Choose another."))
        return super().clean_password(password, user)

    def get_password_change_redirect_url(self, request: HttpRequest) -> str:
        return "/"
