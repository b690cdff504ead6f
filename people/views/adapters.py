"""How sign-in differs here from what allauth does by itself."""

from functools import cache
from typing import Any
from urllib.parse import urlsplit

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.auth_backends import AuthenticationBackend
from allauth.mfa.adapter import DefaultMFAAdapter
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _

from people.exceptions import TriedTooOften
from people.middleware.sign_ins import client_address
from people.models import User
from people.queries.second_factors import with_second_factor
from people.services.kept_secrets import decrypt, encrypt
from people.services.sign_in_trail import REFUSED, record_bounded, record_signed_in
from people.services.tries import count_try, forget_tries, password_tries, unknown_login_tries


def user_by_login(login: str) -> User | None:
    """Whose employee number or address it is."""
    theirs = Q(employee_number__iexact=login) | Q(email__iexact=login)
    return User.objects.filter(theirs).select_related("person__site").first() if login else None


@cache
def _as_each_request_asks() -> QuerySet[User]:
    """Sign-ins with all that a request's answer begins with; put together once, never evaluated."""
    return with_second_factor(User.objects.select_related("person__site"))


class SignInBackend(AuthenticationBackend):
    """By employee number, or by the address that follows somebody's record.

    allauth would take any address that was ever added to a sign-in as well. Each request asks
    again who is signed in, so what ends a sign-in ends its sessions with the next one.
    """

    def get_user(self, user_id: int) -> User | None:
        try:
            user = _as_each_request_asks().get(pk=user_id)
        except User.DoesNotExist:
            return None
        return user if self.user_can_authenticate(user) else None

    def user_can_authenticate(self, user: Any) -> bool:
        return user.may_sign_in(timezone.now())

    def _authenticate_by_email(self, email: str, password: str) -> User | None:
        user = User.objects.filter(email__iexact=email).first() if email else None
        return self._check_password(user, password)


class AccountAdapter(DefaultAccountAdapter):
    """Sign-ins are made by an administrator; nobody signs up."""

    def authenticate(self, request: HttpRequest, **credentials: Any) -> User | None:
        """Whose number or address and password it is; a closed sign-in says that it is closed."""
        login = credentials.get("email") or credentials.get("username") or ""
        tried, address = user_by_login(login), client_address(request)
        if tried is not None:
            tried.from_address = address
        tries = password_tries(tried) if tried else unknown_login_tries(login, address)
        try:
            count_try(tries, timezone.now())
        except TriedTooOften as error:
            raise ValidationError(str(error)) from error
        user = super().authenticate(request, **credentials)
        is_open = user is not None and user.may_sign_in(timezone.now())
        if user is not None:
            forget_tries(tries)
        if not is_open:
            record_bounded(REFUSED, tried, address=address, at=timezone.now())
        if user is not None and not is_open:
            raise ValidationError(
                _(
                    "This sign-in is closed. Your records are kept. Ask an administrator of your "
                    "site if it should be open."
                )
            )
        return user

    def clean_password(self, password: str, user: User | None = None) -> str:
        if user is not None and user.password_is_one_time and user.check_password(password):
            raise ValidationError(_("This is the password you were given. Choose another."))
        return super().clean_password(password, user)

    def get_login_stages(self) -> list[str]:
        return ["people.views.sign_in_stages.SecondFactorStage"]

    def get_password_change_redirect_url(self, request: HttpRequest) -> str:
        return "/"

    def post_login(self, request: HttpRequest, user: User, **more: Any) -> HttpResponse:
        response = super().post_login(request, user, **more)
        record_signed_in(user, address=client_address(request), at=timezone.now())
        return response


class SecondFactorAdapter(DefaultMFAAdapter):
    """What allauth keeps of second factors is encrypted, and named after this site."""

    def encrypt(self, text: str) -> str:
        return encrypt(text)

    def decrypt(self, encrypted_text: str) -> str:
        return decrypt(encrypted_text)

    def get_totp_label(self, user: Any) -> str:
        return user.employee_number

    def get_totp_issuer(self) -> str:
        return f"Jointworthy {urlsplit(settings.PUBLIC_URL).netloc}"
