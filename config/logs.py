"""What is written to the terminal: no secret that stands in an address, and in JSON no person.

In lines for people (`LOG_FORMAT=PLAIN`) an error says its whole text, for whoever mends it on the
machine it happened on. Lines in JSON leave the machine for a collector that others read, so they
say what happened where, and nothing that names somebody: no path, which holds a person's number;
no text of an error, in which a database or mail server repeats what it was given; no address.
"""

import json
import logging
import re
import traceback
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from operations.domain import request_ids

# Whoever has the address of a calendar, a password reset or a certificate has what it opens.
SECRETS = re.compile(
    r"(/calendar/|/account/password/reset/key/)[^/?\s'\"]+|((?<!\w)/c/\??)[^\s'\"]+"
)
MAIL_ADDRESS = re.compile(r"[^\s<>()\[\]\"',;:=]+@[^\s<>()\[\]\"',;:]+")
REQUEST_LINE = re.compile(r"\b(GET|HEAD|POST|PUT|PATCH|DELETE|OPTIONS) +/\S*")
QUERY = re.compile(r"(/[^\s?'\"]*)\?[^\s'\"]+")
# What Celery says of a job that failed has these, for messages that name them.
OF_A_JOB = ("exc", "traceback", "args", "kwargs", "return_value")
LEFT_OUT = "[left out]"
MOST_CAUSES = 20
REQUESTS = "requests"
"""The logger of one line a request; `config.requests` gives it these."""
OF_A_REQUEST = ("route", "method", "status", "duration_ms")


def without_secrets(text: str) -> str:
    """The text with the secret part of each address left out.

    Examples
    --------
    >>> without_secrets("Not Found: /calendar/6Hs9.ics")
    'Not Found: /calendar/[secret]'
    >>> without_secrets("Too Many Requests: /c/CA-C-00012/hq7m-2xkd-9rtp/")
    'Too Many Requests: /c/[secret]'
    """
    return SECRETS.sub(r"\1\2[secret]", text)


def without_addresses(text: str) -> str:
    """The text without mail addresses, without what was asked for by which path, and queries.

    Examples
    --------
    >>> without_addresses("to ada@aldergate.example: /people/find/?q=Holm")
    'to [address]: /people/find/?[query]'
    >>> without_addresses("Error handling request GET /people/10001/")
    'Error handling request GET [path]'
    """
    text = REQUEST_LINE.sub(r"\1 [path]", text)
    return MAIL_ADDRESS.sub("[address]", QUERY.sub(r"\1?[query]", text))


class LineFormatter(logging.Formatter):
    """A line or more for each record, tracebacks included, without secrets."""

    def format(self, record: logging.LogRecord) -> str:
        record.request_id = _request_id(record) or "-"
        return without_secrets(super().format(record))


class JsonFormatter(logging.Formatter):
    """One JSON object a line: time, level, logger, message, request_id, and what else is known.

    ``time`` is in UTC with milliseconds. A line about a request has route, method, status and
    ``duration_ms``; one about an error its type as ``error``, the types of what caused it, and
    the places in the code that it came through, the innermost last.
    """

    def format(self, record: logging.LogRecord) -> str:
        at = datetime.fromtimestamp(record.created, UTC)
        line: dict[str, Any] = {
            "time": at.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "level": record.levelname,
            "logger": record.name,
            "message": without_addresses(without_secrets(_message(record))),
            "request_id": _request_id(record) or None,
        }
        line |= {name: getattr(record, name) for name in OF_A_REQUEST if hasattr(record, name)}
        if record.exc_info and record.exc_info[1] is not None:
            line |= _error(record.exc_info[1])
        return json.dumps(line, ensure_ascii=False, default=_kind)


def _request_id(record: logging.LogRecord) -> str:
    """The id of the request that is worked on, or that Django speaks of when it is over."""
    of_record = getattr(getattr(record, "request", None), request_ids.ATTRIBUTE, "")
    return request_ids.current.get() or str(of_record)


def _message(record: logging.LogRecord) -> str:
    """The record's message, with the path of its request and what errors say left out."""
    path = getattr(getattr(record, "request", None), "path", None)

    def shown(value: Any) -> Any:
        if isinstance(value, BaseException):
            return type(value).__name__
        return LEFT_OUT if path is not None and value == path else value

    args: Any = record.args
    if isinstance(args, Mapping):
        args = {name: LEFT_OUT if name in OF_A_JOB else args[name] for name in args}
    elif args:
        args = tuple(shown(value) for value in args)
    return str(record.msg) % args if args else _kind_or_text(record.msg)


def _kind_or_text(message: Any) -> str:
    return _kind(message) if isinstance(message, BaseException) else str(message)


def _kind(value: Any) -> str:
    return type(value).__name__


def _error(error: BaseException) -> dict[str, Any]:
    causes: list[str] = []
    cause = error.__cause__ or error.__context__
    while cause is not None and len(causes) < MOST_CAUSES:
        causes.append(_kind(cause))
        cause = cause.__cause__ or cause.__context__
    frames = traceback.extract_tb(error.__traceback__)
    return {
        "error": f"{type(error).__module__}.{type(error).__qualname__}",
        "caused_by": list(dict.fromkeys(causes)),
        "places": [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames],
    }
