"""What allauth's pages are asked with, where it looks further than somebody's record."""

from typing import Any

from allauth.account.forms import ResetPasswordForm as AllauthResetPasswordForm
from allauth.account.forms import UserTokenForm as AllauthUserTokenForm
from django.http import HttpRequest

from people.services.reset_links import reset_tokens


class ResetPasswordForm(AllauthResetPasswordForm):
    """Takes any address and says of none whether it is known; the view has the links sent."""

    def clean_email(self) -> str:
        return self.cleaned_data["email"].strip()

    def save(self, request: HttpRequest, **kwargs: Any) -> str:
        return self.cleaned_data["email"]


class UserTokenForm(AllauthUserTokenForm):
    token_generator = reset_tokens
