"""Serve the site by Django's own server while working on it; the demo to this machine alone."""

from typing import Any

from django.core.management.base import CommandError
from whitenoise.runserver_nostatic.management.commands.runserver import Command as Runserver

from operations.queries import own_machine
from records.exceptions import SiteIsTaken
from records.services.site_to_oneself import held_while_serving


class Command(Runserver):
    def run(self, **options: Any) -> None:
        host = f"[{self.addr}]" if self.use_ipv6 else self.addr
        try:
            own_machine.refuse_loaded_demo_elsewhere(bind=f"{host}:{self.port}")
            with held_while_serving():
                super().run(**options)
        except (own_machine.DemoRefused, SiteIsTaken) as error:
            raise CommandError(str(error)) from error
