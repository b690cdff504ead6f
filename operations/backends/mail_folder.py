"""Mails become files in a folder, so that the default set-up needs no mail server."""

import os
import re
import uuid
from collections.abc import Sequence
from email.utils import make_msgid
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend


class FolderBackend(BaseEmailBackend):
    """Writes each mail, as it would be sent, to a file named after its Message-ID.

    The same mail sent twice is one file; its name appears only when it is whole.
    """

    def __init__(self, folder: Path | None = None, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.folder = Path(folder or settings.OUTBOX_DIR)

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        self.folder.mkdir(parents=True, exist_ok=True)
        for mail in email_messages:
            mime: Any = mail.message()
            _write_whole(self.folder / f"{_name_of(mime)}.eml", mime.as_bytes(linesep="\r\n"))
        return len(email_messages)


def _name_of(mime: Any) -> str:
    message_id = str(mime["Message-ID"] or make_msgid(domain="localhost"))
    return re.sub(r"[^A-Za-z0-9@._=+-]", "_", message_id.strip().strip("<>")).lstrip(".")[:200]


def _write_whole(file: Path, content: bytes) -> None:
    unfinished = file.with_name(f".{uuid.uuid4()}.part")
    try:
        with unfinished.open("wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(unfinished, file)
    finally:
        unfinished.unlink(missing_ok=True)
