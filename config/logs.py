"""What is written to the terminal holds no secret that stands in an address."""

import logging
import re

# Whoever has the address of a calendar or of a password reset has what it opens.
SECRETS = re.compile(r"(/calendar/|/account/password/reset/key/)[^/?\s'\"]+")


def without_secrets(text: str) -> str:
    """The text with the secret part of each address left out.

    Examples
    --------
    >>> without_secrets("Not Found: /calendar/6Hs9.ics")
    'Not Found: /calendar/[secret]'
    """
    return SECRETS.sub(r"\1[secret]", text)


class LineFormatter(logging.Formatter):
    """A line or more for each record, tracebacks included, without secrets."""

    def format(self, record: logging.LogRecord) -> str:
        return without_secrets(super().format(record))
