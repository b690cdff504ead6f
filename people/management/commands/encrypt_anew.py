"""`manage.py encrypt_anew`: second factors under today's secret key; earlier ones can go then."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from people.services.second_factors import encrypt_all_again


class Command(BaseCommand):
    help = (
        "Encrypts second factors under the SECRET_KEY of today, after which those before it may "
        "leave SECRET_KEY_FALLBACKS."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        count, unreadable = encrypt_all_again()
        self.stdout.write(f"Under the secret key of today: {count}.")
        if unreadable:
            raise CommandError(
                f"Under a key that is neither SECRET_KEY nor in SECRET_KEY_FALLBACKS: those of "
                f"{', '.join(unreadable)}. Name that key in SECRET_KEY_FALLBACKS and run this "
                "again, or reset their second factors."
            )
