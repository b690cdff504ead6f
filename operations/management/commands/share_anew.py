"""`manage.py share_anew WHAT`: what several machines share was changed on purpose."""

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from operations.models import SharedMark
from operations.services.shared_marks import share_anew


class Command(BaseCommand):
    help = (
        "Has the machine that starts next say what all of them share: after the secret key, or "
        "the folder of back-ups or of old photographs, was changed on purpose."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("what", choices=SharedMark.What.values, help="the setting")

    def handle(self, *args: Any, what: str, **options: Any) -> None:
        if share_anew(SharedMark.What(what)):
            self.stdout.write(
                f"The machine that starts next notes its {what}, and others are held to it: start "
                "each of them again."
            )
        else:
            self.stdout.write(f"Of {what} nothing was noted.")
