"""Serve the site by Django's own server while working on it; the demo to this machine alone."""

from typing import Any

from django.core.management.base import CommandError
from whitenoise.runserver_nostatic.management.commands.runserver import Command as Runserver

from operations.queries import own_machine


class Command(Runserver):
    def run(self, **options: Any) -> None:
        host = f"[{self.addr}]" if self.use_ipv6 else self.addr
        try:
            own_machine.refuse_loaded_demo_elsewhere(bind=f"{host}:{self.port}")
        except own_machine.DemoRefused as error:
            raise CommandError(str(error)) from error
        super().run(**options)
