"""The end of the trail leaves the house every day: into a file, and by mail.

Both hold what a database rewritten as a whole no longer does. The file can be rewritten by
whoever can write into ``DATA_DIR``; the mails, and what was printed, cannot. Where several machines
serve the site, whichever of them files an end, each line is an object in their bucket.
"""

import os
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.core.mail import EmailMessage, get_connection

from people.models import Site
from records.backends.kept_folder import KeptFolder, kept_folder
from records.domain.canonical import instant_text
from records.queries.heads import Head, head_at

FILE_NAME = "trail-heads.txt"
FOLDER = "trail-heads"
ENDING = ".txt"


def heads_file() -> Path:
    return Path(settings.DATA_DIR) / FILE_NAME


def heads_folder() -> KeptFolder:
    return kept_folder(Path(settings.DATA_DIR) / FOLDER, named=FOLDER)


def publish_head(*, at: datetime) -> Head | None:
    """Append the end of the trail to the file and mail it; None where nothing is written yet.

    The file comes first: a mail server that is away raises OSError or SMTPException after it.
    """
    head = head_at(at)
    if head is None:
        return None
    file_line(f"{instant_text(at)} {head.number} {head.entry_hash}\n")
    _mail(head, at)
    return head


def file_line(line: str) -> None:
    """File one end; what was filed before stays."""
    if settings.SEVERAL_MACHINES:
        with suppress(FileExistsError):  # It is the very same.
            heads_folder().add("_".join(line.split()) + ENDING, line.encode())
        return
    descriptor = os.open(heads_file(), os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o640)
    try:
        os.write(descriptor, line.encode())
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def filed_lines() -> list[str]:
    """Every line that was filed, the first one first; without their ends."""
    if settings.SEVERAL_MACHINES:
        # The name says what the object holds, and a list of names is one request for a thousand.
        return [name.removesuffix(ENDING).replace("_", " ") for name in heads_folder().names()]
    path = heads_file()
    if not path.exists():
        return []
    return path.read_text(encoding="utf-8", errors="replace").splitlines()


def _mail(head: Head, at: datetime) -> None:
    """One mail to each address, so that none learns of the others."""
    body = (
        f"On {instant_text(at)} the trail of {settings.PUBLIC_URL} ended with\n\n"
        f"  entry  {head.number}\n  hash   {head.entry_hash}\n  short  {head}\n\n"
        "Keep this mail. Whether the trail still holds that entry is answered by\n\n"
        f"  manage.py verify_trail --head {head}\n"
    )
    mails = [
        EmailMessage(f"End of the trail: {head}", body, settings.MAIL_FROM, [address])
        for address in _addresses()
    ]
    if mails:
        get_connection().send_messages(mails)


def _addresses() -> list[str]:
    """Those of the settings and those that each site names, each once."""
    named = Site.objects.order_by("pk").values_list("trail_head_to", flat=True)
    return list(dict.fromkeys([*settings.TRAIL_HEAD_TO, *(one for each in named for one in each)]))


def filed_heads() -> Iterator[tuple[str, str]]:
    """Every line of the file, for the verification; a line that says nothing is named too."""
    for number, line in enumerate(filed_lines(), start=1):
        parts = line.split()
        head = f"{parts[1]}-{parts[2]}" if len(parts) == 3 else line.strip()
        yield f"{FILE_NAME}, line {number}", head
