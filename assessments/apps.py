from django.apps import AppConfig


class AssessmentsConfig(AppConfig):
    name = "assessments"

    def ready(self) -> None:
        from . import protected

        protected.declare()
