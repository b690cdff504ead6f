"""The id by which all that is logged of one request, and of the jobs it asked for, is found."""

import re
from contextvars import ContextVar
from uuid import uuid4

WELL_FORMED = re.compile(r"[0-9A-Za-z_-]{8,64}")
"""Neither a mail address nor a name with a space fits, nor anything that breaks a line."""

current: ContextVar[str] = ContextVar("request_id", default="")
"""Of the request or job that is being worked on; empty outside of one."""
ATTRIBUTE = "request_id"
"""Of a request, for what is said of it when it is over."""


def request_id(given: str) -> str:
    """The id that a proxy gave a request, or a new one where it gave none that is well-formed.

    Examples
    --------
    >>> request_id("4bf92f3577b34da6a3ce929d0e0e4736")
    '4bf92f3577b34da6a3ce929d0e0e4736'
    >>> request_id("ada.holm@aldergate.example") == "ada.holm@aldergate.example"
    False
    """
    return given if WELL_FORMED.fullmatch(given) else uuid4().hex
