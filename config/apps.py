"""Starts what belongs to the installation as a whole; this app has no models."""

from django.apps import AppConfig


class ConfigConfig(AppConfig):
    name = "config"

    def ready(self) -> None:
        # Makes our Celery application the one that tasks are sent through.
        from . import celery  # noqa: F401
