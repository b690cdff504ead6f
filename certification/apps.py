from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class CertificationConfig(AppConfig):
    name = "certification"
    verbose_name = _("Certification")

    def ready(self) -> None:
        from . import protected

        protected.declare()
