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
        acts = parser.add_subparsers(dest="act", required=True)
        acts.add_parser("list", help="every key, and since when and until when it signed")
        acts.add_parser("make", help="the first key; without it, the first credential makes one")
        acts.add_parser("rotate", help="another key signs from now on; the earlier ones count")
        lost = acts.add_parser("lost", help="nothing counts that this key has signed")
        lost.add_argument("kid", help="the key, as “signing_key list” names it")
        lost.add_argument("--reason", required=True, help="how it was lost; kept with the key")

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
