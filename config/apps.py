"""Checks of the installation as a whole belong to this app, which has no models."""

from django.apps import AppConfig


class ConfigConfig(AppConfig):
    name = "config"
