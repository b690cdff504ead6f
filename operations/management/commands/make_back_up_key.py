"""`manage.py make_back_up_key FILE`: the key pair that back-ups are encrypted by."""

import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from operations.backends.archive import new_key_file


class Command(BaseCommand):
    help = "Writes a new private age key into a file, and says the public key for BACK_UP_KEY."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="where the private key goes")

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        text, public = new_key_file()
        try:
            descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except OSError as error:
            raise CommandError(
                f"{file} cannot be made ({error.strerror}): name a new file in a folder that is "
                "there."
            ) from error
        with os.fdopen(descriptor, "w") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        self.stdout.write(f"BACK_UP_KEY={public}")
        self.stdout.write(
            f"{file} alone opens what is encrypted to it: keep two copies, neither on this machine."
        )
