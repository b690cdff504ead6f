"""Starts the records: what the database refuses, and when it begins to."""

from django.apps import AppConfig
from django.db.backends.signals import connection_created
from django.db.models.signals import post_migrate, pre_migrate
from django.utils.translation import gettext_lazy as _


class RecordsConfig(AppConfig):
    name = "records"
    verbose_name = _("Records")

    def ready(self) -> None:
        from . import protected
        from .models import append_only

        protected.declare()
        connection_created.connect(append_only.make_replace_fire_triggers)
        # Both signals come once per app; one app's turn is enough for all tables.
        pre_migrate.connect(append_only.remove_before_migrating, sender=self)
        post_migrate.connect(append_only.install_after_migrating, sender=self)
