"""What stands between a right password and being signed in."""

from typing import Any

from allauth.account.stages import LoginStage
from allauth.mfa.stages import AuthenticateStage
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.crypto import constant_time_compare

from people.queries.second_factors import has_second_factor


class SecondFactorStage(LoginStage):
    """Asks whoever has a second factor for it.

    The password was right when it was typed. What its owner or an administrator does meanwhile
    counts: a new password, or a sign-in that was closed, ends what was begun.
    """

    key = AuthenticateStage.key
    urlname = "mfa_authenticate"

    def handle(self) -> tuple[HttpResponse | None, bool]:
        user: Any = self.login.user
        if user is None or not has_second_factor(user):
            return None, True
        self.state["password"] = user.get_session_auth_hash()
        return redirect(self.urlname), True

    def is_resumable(self, request: HttpRequest) -> bool:
        """The page that asks for the password begins again."""
        return False

    def still_holds(self) -> bool:
        user: Any = self.login.user
        kept = self.state.get("password", "")
        return user.may_sign_in(timezone.now()) and constant_time_compare(
            kept, user.get_session_auth_hash()
        )
