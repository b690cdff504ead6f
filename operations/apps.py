"""Starts operations: workers, clock and their work leave heartbeats in the database."""

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class OperationsConfig(AppConfig):
    name = "operations"
    verbose_name = _("Operations")

    def ready(self) -> None:
        from certification import ports as certification_ports
        from operations.presenters import setup_page
        from operations.services import (  # noqa: F401 - four of them listen to Celery
            heartbeats,
            job_headers,
            mail_trials,
            process_heartbeats,
            serving,
            shared_marks,
        )
        from operations.services.heads import filed_heads
        from operations.services.time_stamps import stamped_heads
        from people import ports as people_ports
        from people.presenters import navigation
        from records.queries.heads import register_heads
        from reminders import ports as reminders_ports

        register_heads(filed_heads)
        register_heads(stamped_heads)
        reminders_ports.on_sweep_done(heartbeats.record_sweep)
        reminders_ports.register_sending_watch(heartbeats.sending_heartbeat)
        certification_ports.register_first_page(setup_page.leads_home)
        navigation.register(
            _("Setting up"),
            "operations:set_up",
            ["administrator", "quality"],
            order=3,
            top_for=["administrator"],
        )
        people_ports.on_erasure(mail_trials.erase_trials)
        navigation.register(
            _("How long it is kept"),
            "operations:retention",
            ["administrator", "quality"],
            order=91,
            place="foot",
            covers=["operations:retention_site", "operations:retention_change"],
        )
        navigation.register(_("Health"), "operations:health", ["administrator"], order=90)
