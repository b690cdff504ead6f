from django.apps import AppConfig


class TrainingConfig(AppConfig):
    name = "training"

    def ready(self) -> None:
        from . import protected

        protected.declare()
