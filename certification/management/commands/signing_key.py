"""``manage.py signing_key``: the keys that the site signs credentials with."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from certification.exceptions import CertificationError
from certification.models import SigningKey
from certification.services import signing_keys

ACTOR = "signing_key"


class Command(BaseCommand):
    help = (
        "Makes the key that certificates are signed with as credentials, has another one sign "
        "from now on, or says that one is lost, so that nothing counts which it has signed."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "act",
            choices=("list", "make", "rotate", "lost"),
            help="list: every key and when it signed; make: the first key, which the first "
            "credential makes otherwise; rotate: another key signs from now on, and what earlier "
            "ones signed still counts; lost: nothing counts that a key has signed",
        )
        parser.add_argument("kid", nargs="?", default="", help="the lost key, as list names it")
        parser.add_argument(
            "--reason", default="", help="how it was lost, in a few words; kept with the key"
        )

    def handle(self, *args: Any, act: str, **options: Any) -> None:
        at = timezone.now()
        try:
            if act == "list":
                return self._list()
            if act == "lost":
                key = signing_keys.lose_key(
                    kid=options["kid"], reason=options["reason"], actor=ACTOR, at=at
                )
            elif act == "rotate":
                key = signing_keys.rotate_key(actor=ACTOR, at=at)
            else:
                key = signing_keys.make_key(actor=ACTOR, at=at)
        except CertificationError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"Key {key.kid} signs from now on.")
        return None

    def _list(self) -> None:
        for key in SigningKey.objects.all():
            line = f"{key.kid} from {key.started_at:%Y-%m-%d %H:%M} UTC"
            if key.ended_at:
                line += f" until {key.ended_at:%Y-%m-%d %H:%M} UTC"
            if key.lost_at:
                line += f", lost {key.lost_at:%Y-%m-%d %H:%M} UTC: {key.lost_reason}"
            self.stdout.write(line)
