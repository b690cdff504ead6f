"""The page to sign in on."""

from typing import Any

from allauth.account import views
from django.conf import settings

from people.services import provider


class LoginView(views.LoginView):
    """Names the provider too, where the site has one."""

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        name = settings.OIDC_NAME if provider.is_set_up() else ""
        return super().get_context_data(**kwargs) | {"provider_name": name}


login = LoginView.as_view()
