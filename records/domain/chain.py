"""The hash chain of the trail, written down so that anyone can verify it.

Every entry has a number (1, 2, 3 and so on, none left out), says who did what to which
thing and when, and points at a payload that holds the details.

1. *Payload digest.* SHA-256 over the payload's salt (16 bytes, stored as 32 hexadecimal
   digits) followed by the payload itself (canonical JSON, RFC 8785, as UTF-8). The salt
   keeps anyone from guessing an erased payload back from its digest.
2. *Entry hash.* SHA-256 over the canonical JSON, as UTF-8, of an object with exactly these
   members:

   ============= ==========================================================================
   ``n``         the entry's number, a JSON number
   ``previous``  the entry hash of entry ``n - 1``; sixty-four zeros for the first entry
   ``recorded_at`` the instant in UTC, ``YYYY-MM-DDTHH:MM:SS.ffffffZ``, always six digits
   ``actor``     ``{"id": ..., "label": ...}``: the account's key as text, or null where no
                 account acted, and its sign-in name or the name of the program
   ``act``       what was done, in words
   ``about_type``, ``about_id`` the thing it was done to, both text
   ``digest``    the payload digest
   ============= ==========================================================================

All hashes are lower-case hexadecimal. An erased payload leaves its digest in the entry, so
the chain still verifies; that one payload can then no longer be compared.
"""

import hashlib
from dataclasses import dataclass
from datetime import datetime

from .canonical import canonical_text, instant_text, sha256_of_text

FIRST_PREVIOUS_HASH = "0" * 64
SALT_BYTES = 16
SHORT_DIGITS = 16
"""Of a hash where it is printed: 64 bits, since somebody may have to type it in."""


@dataclass(frozen=True)
class Link:
    """Everything an entry's hash covers."""

    number: int
    previous: str
    recorded_at: datetime
    actor_id: str | None
    actor_label: str
    act: str
    about_type: str
    about_id: str
    digest: str


def payload_digest(salt: str, body: str) -> str:
    """SHA-256 over a salt and a canonical payload.

    Parameters
    ----------
    salt : str
        The salt's bytes in hexadecimal.
    body : str
        The payload as canonical JSON.

    Examples
    --------
    >>> payload_digest("00" * 16, "{}")[:16]
    '333b13ff02f57ae1'
    """
    return hashlib.sha256(bytes.fromhex(salt) + body.encode()).hexdigest()


def entry_hash(link: Link) -> str:
    """SHA-256 over one entry, as the module's docstring lays down."""
    return sha256_of_text(
        canonical_text(
            {
                "n": link.number,
                "previous": link.previous,
                "recorded_at": instant_text(link.recorded_at),
                "actor": {"id": link.actor_id, "label": link.actor_label},
                "act": link.act,
                "about_type": link.about_type,
                "about_id": link.about_id,
                "digest": link.digest,
            }
        )
    )


def short_form(number: int, entry_hash: str) -> str:
    """An entry as it is printed: its number and the first digits of its hash.

    Examples
    --------
    >>> short_form(1234, "0123456789abcdef" * 4)
    '1234-0123456789abcdef'
    """
    return f"{number}-{entry_hash[:SHORT_DIGITS]}"
