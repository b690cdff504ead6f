"""What allauth's pages are asked with, where it looks further than somebody's record."""

from typing import Any

from allauth.account.forms import ChangePasswordForm as AllauthChangePasswordForm
from allauth.account.forms import ResetPasswordForm as AllauthResetPasswordForm
from allauth.account.forms import ResetPasswordKeyForm as AllauthResetPasswordKeyForm
from allauth.account.forms import UserTokenForm as AllauthUserTokenForm
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _

from people.exceptions import TriedTooOften
from people.models import User
from people.services.passwords import change_password, set_password_by_link
from people.services.proof import is_own_password
from people.services.reset_links import reset_tokens
from people.services.sign_in_trail import PROOF_REFUSED, record_bounded


class ChangePasswordForm(AllauthChangePasswordForm):
    def clean_oldpassword(self) -> str:
        """The same count as wherever else a password is asked for."""
        password = self.cleaned_data["oldpassword"]
        try:
            is_own = is_own_password(self.user, password, timezone.now())
        except TriedTooOften as error:
            raise ValidationError(str(error)) from error
        if not is_own:
            record_bounded(
                PROOF_REFUSED, self.user, address=self.user.from_address, at=timezone.now()
            )
            raise ValidationError(_("That is not your password. Type it again, or reset it."))
        return password

    def save(self) -> None:
        password = self.cleaned_data["password1"]
        change_password(user=self.user, password=password, at=timezone.now())


class ResetPasswordForm(AllauthResetPasswordForm):
    """Takes any address and says of none whether it is known; the view has the links sent."""

    def clean_email(self) -> str:
        return self.cleaned_data["email"].strip()

    def save(self, request: HttpRequest, **kwargs: Any) -> str:
        return self.cleaned_data["email"]


class ResetPasswordKeyForm(AllauthResetPasswordKeyForm):
    def save(self) -> None:
        set_password_by_link(
            user=self.user,
            token=self.temp_key,
            password=self.cleaned_data["password1"],
            at=timezone.now(),
        )


class UserTokenForm(AllauthUserTokenForm):
    """A link is void as well once its sign-in opens nothing any more."""

    token_generator = reset_tokens

    def _get_user(self, uidb36: str) -> User | None:
        user = super()._get_user(uidb36)
        return user if user is not None and user.may_sign_in(timezone.now()) else None
