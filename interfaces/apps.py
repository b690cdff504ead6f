from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class InterfacesConfig(AppConfig):
    name = "interfaces"
    verbose_name = _("Interfaces")

    def ready(self) -> None:
        from people.presenters import navigation

        administers = ["administrator"]
        navigation.register(
            _("Web hooks"), "interfaces:hook_list", administers, order=82, place="foot"
        )
        navigation.register(
            _("Tokens of programs"),
            "interfaces:api_token_list",
            administers,
            order=83,
            place="foot",
        )
