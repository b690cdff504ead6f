"""How sign-in differs here from what allauth does by itself."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class AccountAdapter(DefaultAccountAdapter):
    """Sign-ins are made by an administrator; nobody signs up."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False
