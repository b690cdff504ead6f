"""Stamps of the trail's end, as the files that the time-stamp server's answers are kept in."""

from pathlib import Path

from django.conf import settings

FOLDER = "time-stamps"
ENDING = ".tsr"


def stamps_folder() -> Path:
    return Path(settings.DATA_DIR) / FOLDER


def last_stamped() -> int:
    """Number of the last entry whose end of the trail has a stamp; 0 where none has."""
    numbers = [path.name.partition("-")[0] for path in stamps_folder().glob(f"*{ENDING}")]
    return max((int(number) for number in numbers if number.isdecimal()), default=0)
