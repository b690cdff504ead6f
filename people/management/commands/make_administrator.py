"""``manage.py make_administrator``: whoever signs in first and lets the others in."""

import os
import sys
from argparse import ArgumentParser
from getpass import getpass
from pathlib import Path
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from people.exceptions import PeopleError
from people.models import Site, User
from people.services.sign_ins import NewSite, make_administrator


class Command(BaseCommand):
    help = (
        "Makes an administrator, and with the first one the site they administer. The password "
        "is asked for, or read from the file that PASSWORD_FILE names, or from standard input."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("employee_number", help="what they sign in with")
        parser.add_argument("--name", required=True, help="full name")
        parser.add_argument("--email", default="", help="address, to sign in and reset passwords")
        parser.add_argument("--organisation", default="", help="whose installation this is")
        parser.add_argument("--site-name", help="name of the site, as people call it")
        parser.add_argument(
            "--prefix", help="one to four capital letters that begin the site's numbers, for ever"
        )
        parser.add_argument("--time-zone", help="the site's time zone, such as Europe/Madrid")
        parser.add_argument(
            "--password-stdin", action="store_true", help="read the password from standard input"
        )
        parser.add_argument(
            "--another", action="store_true", help="although there is an administrator already"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        number = options["employee_number"]
        try:
            user = make_administrator(
                employee_number=number,
                full_name=options["name"],
                email=options["email"],
                organisation=options["organisation"],
                password=self._password(options),
                another=options["another"],
                at=timezone.now(),
                **_site_arguments(options),
            )
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        except PeopleError as error:
            raise CommandError(str(error)) from error
        sites = ", ".join(Site.objects.filter(roles__user=user).values_list("name", flat=True))
        self.stdout.write(f"{user} ({user.employee_number}) administers {sites}. Sign in with it.")

    def _password(self, options: dict[str, Any]) -> str:
        password = self._read_password(options)
        user = User(employee_number=options["employee_number"], email=options["email"])
        validate_password(password, user)
        return password

    def _read_password(self, options: dict[str, Any]) -> str:
        if options["password_stdin"]:
            return sys.stdin.readline().rstrip("\r\n")
        file = os.environ.get("PASSWORD_FILE")
        if file:
            try:
                return Path(file).read_text(encoding="utf-8").rstrip("\r\n")
            except OSError as error:
                raise CommandError(f"PASSWORD_FILE cannot be read: {error}.") from error
        if not sys.stdin.isatty():
            raise CommandError(
                "Nobody is there to type a password: set PASSWORD_FILE, or say --password-stdin."
            )
        password = getpass("Password: ")
        if getpass("The same again: ") != password:
            raise CommandError("The two differ, so nothing was made. Run it again.")
        return password


def _site_arguments(options: dict[str, Any]) -> dict[str, Any]:
    """The site meant: a known one by its prefix, a new one, or the only one there is."""
    values = [options[name] for name in ("site_name", "prefix", "time_zone")]
    if all(values):
        return {"new_site": NewSite(*values)}
    if options["prefix"] and not options["site_name"] and not options["time_zone"]:
        site = Site.objects.filter(prefix=options["prefix"]).first()
        if site is None:
            raise CommandError(
                f"No site has the prefix {options['prefix']}: give --site-name and --time-zone "
                "as well to make one."
            )
        return {"site": site}
    if any(values):
        raise CommandError("Give --site-name, --prefix and --time-zone together, or none.")
    return {}
