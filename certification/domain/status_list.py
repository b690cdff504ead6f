"""Lists of bits by which verifiers learn whether a credential still counts.

Bitstring Status List v1.0 (W3C Recommendation of 15 May 2025), sections 3.1 and 3.4: at least
131,072 bits, so that whoever fetches a list does not tell which credential they look at; the bit
of index 0 is the leftmost of the first byte; compressed by gzip; as multibase base64url.
"""

import gzip
import zlib
from base64 import urlsafe_b64decode
from collections.abc import Iterable
from io import BytesIO

from .compact_jws import base64url

BITS = 131_072
"""In a list: 16 KB, the least that section 3.4 allows."""

FULL = 100_000
"""Credentials in a list before another is begun: an index drawn at random is soon a free one."""

LONGEST = 64 * BITS
"""Of a list that is read, in bits: few bytes may unpack to any number."""

BASE64URL = "u"
"""What multibase calls base64url without padding."""


def encode_bits(indexes: Iterable[int]) -> str:
    """The list in which these bits are set, as ``encodedList`` holds it.

    Raises
    ------
    IndexError
        If one is not from 0 to `BITS` - 1.

    Examples
    --------
    >>> read_bit(encode_bits([201, 94023]), 201), read_bit(encode_bits([201, 94023]), 202)
    (True, False)
    """
    bits = bytearray(BITS // 8)
    for index in indexes:
        if index < 0:
            raise IndexError(f"There is no bit {index}.")
        bits[index // 8] |= 0x80 >> index % 8
    return BASE64URL + base64url(gzip.compress(bytes(bits), mtime=0))


def read_bit(encoded: str, index: int) -> bool:
    """Whether a bit is set.

    Raises
    ------
    ValueError
        If the text is no such list, or one of more than `LONGEST` bits.
    IndexError
        If the list has no such bit.
    """
    if not encoded.startswith(BASE64URL):
        raise ValueError("The list is not written as multibase base64url: it begins with no u.")
    padded = encoded[1:] + "=" * (-len(encoded[1:]) % 4)
    try:
        with gzip.GzipFile(fileobj=BytesIO(urlsafe_b64decode(padded))) as unpacked:
            bits = unpacked.read(LONGEST // 8 + 1)
    except (OSError, EOFError, zlib.error) as error:
        raise ValueError("The list is not compressed by gzip.") from error
    if len(bits) > LONGEST // 8:
        raise ValueError(f"The list is not read: it has more than {LONGEST:,} bits.")
    if not bits:
        raise ValueError("The list is not there: it holds no bit.")
    if index < 0:
        raise IndexError(f"There is no bit {index}.")
    return bool(bits[index // 8] & 0x80 >> index % 8)
