"""Stamps of the trail's end, as the files that the time-stamp server's answers are kept in."""

from pathlib import Path

from django.conf import settings

from records.backends.kept_folder import KeptFolder, kept_folder

FOLDER = "time-stamps"
ENDING = ".tsr"


def stamps_folder() -> KeptFolder:
    return kept_folder(Path(settings.DATA_DIR) / FOLDER, named=FOLDER)


def stamp_names() -> list[str]:
    """The names of all stamps, in the order of their texts."""
    return [name for name in stamps_folder().names() if name.endswith(ENDING)]


def last_stamped() -> int:
    """Number of the last entry whose end of the trail has a stamp; 0 where none has."""
    numbers = [name.partition("-")[0] for name in stamp_names()]
    return max((int(number) for number in numbers if number.isdecimal()), default=0)
