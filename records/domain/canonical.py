"""Canonical JSON (RFC 8785): the same value gives the same bytes, whoever writes it.

What is signed, and what the trail keeps, is hashed over these bytes, so that another
implementation can work the hash out again from the value alone.
"""

import hashlib
from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

import rfc8785


class NotCanonical(ValueError):
    """A value that has no canonical JSON text."""


def instant_text(at: datetime) -> str:
    """Write an instant in UTC with all six digits of its microseconds.

    Raises
    ------
    NotCanonical
        If the datetime has no time zone: it would mean another instant elsewhere.

    Examples
    --------
    >>> from datetime import timedelta, timezone
    >>> instant_text(datetime(2026, 5, 3, 9, 30, tzinfo=timezone(timedelta(hours=2))))
    '2026-05-03T07:30:00.000000Z'
    """
    if at.utcoffset() is None:
        raise NotCanonical(f"{at!r} has no time zone: give an aware datetime.")
    return at.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def canonical_text(value: Any) -> str:
    """Write a value as canonical JSON.

    Parameters
    ----------
    value : dict, list, tuple, str, int, float, bool, None, date, datetime, Decimal or UUID
        Nested as JSON allows, keys of objects being text. A date is written as
        ``YYYY-MM-DD``, a datetime by `instant_text`, a Decimal as the plain digits it
        holds (``1.50`` stays ``"1.50"``) and a UUID with hyphens, each as a JSON string.

    Returns
    -------
    str
        RFC 8785 text; encoded as UTF-8 it is what gets hashed.

    Raises
    ------
    NotCanonical
        If something in the value is of another type, a number is not finite or is an
        integer beyond ±(2**53 - 1), a key is not text, or text is not valid Unicode.

    References
    ----------
    .. [1] RFC 8785, JSON Canonicalization Scheme (JCS), 2020.

    Examples
    --------
    >>> canonical_text({"height_mm": Decimal("1.50"), "day": date(2024, 2, 29), "a": 1.0})
    '{"a":1,"day":"2024-02-29","height_mm":"1.50"}'
    """
    try:
        return rfc8785.dumps(_plain(value)).decode()
    except rfc8785.CanonicalizationError as error:
        raise NotCanonical(f"This cannot be written as canonical JSON: {error}.") from error


def as_json_value(value: Any) -> Any:
    """A value as it comes back from its canonical text, which is not written for it.

    Examples
    --------
    >>> as_json_value({"day": date(2024, 2, 29), "marks": (1, 2)})
    {'day': '2024-02-29', 'marks': [1, 2]}
    """
    return _plain(value)


def _plain(value: Any) -> Any:
    """Turn what JSON has no word for into text, in the one form chosen for it."""
    match value:
        case datetime():
            return instant_text(value)
        case date():
            return value.isoformat()
        case Decimal():
            if not value.is_finite():
                raise NotCanonical(f"{value} is not a finite number.")
            return format(value, "f")
        case UUID():
            return str(value)
        case Mapping():
            for key in value:
                if not isinstance(key, str):
                    raise NotCanonical(f"The key {key!r} is not text.")
            return {key: _plain(inner) for key, inner in value.items()}
        case list() | tuple():
            return [_plain(inner) for inner in value]
        case _:
            return value


def sha256_of_text(text: str) -> str:
    """SHA-256 of a text's UTF-8 bytes, in lower-case hexadecimal.

    Examples
    --------
    >>> sha256_of_text("")[:16]
    'e3b0c44298fc1c14'
    """
    return hashlib.sha256(text.encode()).hexdigest()
