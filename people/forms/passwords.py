"""What allauth's pages are asked with, where it looks further than somebody's record."""

from typing import Any

from allauth.account.forms import ChangePasswordForm as AllauthChangePasswordForm
from allauth.account.forms import ResetPasswordForm as AllauthResetPasswordForm
from allauth.account.forms import UserTokenForm as AllauthUserTokenForm
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _

from people.exceptions import TriedTooOften
from people.models import User
from people.services.proof import is_own_password
from people.services.reset_links import reset_tokens


class ChangePasswordForm(AllauthChangePasswordForm):
    def clean_oldpassword(self) -> str:
        """The same count as wherever else a password is asked for."""
        password = self.cleaned_data["oldpassword"]
        try:
            is_own = is_own_password(self.user, password, timezone.now())
        except TriedTooOften as error:
            raise ValidationError(str(error)) from error
        if not is_own:
            raise ValidationError(_("That is not your password. Type it again, or reset it."))
        return password


class ResetPasswordForm(AllauthResetPasswordForm):
    """Takes any address and says of none whether it is known; the view has the links sent."""

    def clean_email(self) -> str:
        return self.cleaned_data["email"].strip()

    def save(self, request: HttpRequest, **kwargs: Any) -> str:
        return self.cleaned_data["email"]


class UserTokenForm(AllauthUserTokenForm):
    """A link is void as well once its sign-in opens nothing any more."""

    token_generator = reset_tokens

    def _get_user(self, uidb36: str) -> User | None:
        user = super()._get_user(uidb36)
        return user if user is not None and user.may_sign_in(timezone.now()) else None
