"""Links to set a new password: whose they are, how long they work, where they lead."""

from django.conf import settings
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.urls import reverse
from django.utils import timezone
from django.utils.http import int_to_base36

from people.models import User


class ResetTokens(PasswordResetTokenGenerator):
    """Void after `PASSWORD_RESET_TIMEOUT`, a new password, a sign-in, or another address."""

    def _make_hash_value(self, user: User, timestamp: int) -> str:
        address = user.person.email if user.person else ""
        return f"{super()._make_hash_value(user, timestamp)}{user.is_active}{address}"


reset_tokens = ResetTokens()


def users_at_address(email: str) -> list[User]:
    """Whose record has the address, of those who may sign in: no other address gets links."""
    users = User.objects.filter(person__email__iexact=email).select_related("person__site")
    return [user for user in users if user.may_sign_in(timezone.now())] if email else []


def reset_link(user: User) -> str:
    """Where somebody sets a new password; at the site's own address, whatever was asked for."""
    return settings.PUBLIC_URL + reverse(
        "account_reset_password_from_key",
        kwargs={"uidb36": int_to_base36(user.pk), "key": reset_tokens.make_token(user)},
    )
