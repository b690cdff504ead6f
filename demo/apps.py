from django.apps import AppConfig


class DemoConfig(AppConfig):
    """A scenario of invented people, for trying the product; it has no tables of its own."""

    name = "demo"
