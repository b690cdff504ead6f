"""Codes that an app works out from a shared secret and the clock (RFC 6238, with SHA-1).

A code is good for half a minute; clocks that differ by as much are met by one step each way.
"""

import hmac
import struct
from base64 import b32decode
from hashlib import sha1

STEP_S = 30
STEPS_APART = 1
DIGITS = 6


def code_of_step(secret: str, step: int, digits: int = DIGITS) -> str:
    """The code of one step of the clock.

    Parameters
    ----------
    secret : str
        In Base32, as an app takes it.
    step : int
        Steps of `STEP_S` seconds since 1970.

    References
    ----------
    .. [1] RFC 4226, section 5.3.

    Examples
    --------
    >>> code_of_step("GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ", 1)
    '287082'
    """
    # Apps know SHA-1 alone for certain, and HMAC does not rest on its collisions.
    digest = hmac.new(b32decode(secret), struct.pack(">Q", step), sha1).digest()
    offset = digest[-1] & 0x0F
    [number] = struct.unpack(">I", digest[offset : offset + 4])
    return f"{(number & 0x7FFFFFFF) % 10**digits:0{digits}}"


def matching_step(secret: str, code: str, at_s: float, after: int = -1) -> int | None:
    """Which step a code is of, among those near an instant and later than ``after``.

    Parameters
    ----------
    at_s : float
        Seconds since 1970.
    after : int
        The step of the last code that was used: no code is good twice, nor an earlier one.

    Returns
    -------
    int or None
        None if it is the code of none of them.
    """
    now = int(at_s) // STEP_S
    typed = "".join(code.split()).encode()
    for step in range(max(now - STEPS_APART, after + 1), now + STEPS_APART + 1):
        if hmac.compare_digest(code_of_step(secret, step).encode(), typed):
            return step
    return None
