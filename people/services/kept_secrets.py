"""Secrets that are kept encrypted, under a key that `SECRET_KEY` gives.

What was encrypted under one of `SECRET_KEY_FALLBACKS` is read too, while the key is changed.
"""

from base64 import urlsafe_b64encode

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from django.conf import settings
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from people.exceptions import ProofRefused


def _fernet(what: str = "second factors") -> MultiFernet:
    """Encrypts under the first of its keys, and decrypts under whichever it was."""
    keys = [
        salted_hmac("people.kept_secrets", what, secret=secret, algorithm="sha256").digest()
        for secret in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)
    ]
    return MultiFernet([Fernet(urlsafe_b64encode(key)) for key in keys])


def encrypt(text: str) -> str:
    return _fernet().encrypt(text.encode()).decode()


def decrypt(kept: str) -> str:
    """What was encrypted.

    Raises
    ------
    ProofRefused
        If it was under another `SECRET_KEY`, or is damaged.
    """
    try:
        return _fernet().decrypt(kept.encode()).decode()
    except InvalidToken as error:
        raise ProofRefused(
            _(
                "Your second factor cannot be read: the site's secret key has changed since. An "
                "administrator can reset it."
            )
        ) from error


def encrypt_again(kept: str) -> str:
    """The same under the `SECRET_KEY` of today; raises ValueError where it cannot be read."""
    try:
        return _fernet().rotate(kept.encode()).decode()
    except InvalidToken as error:
        raise ValueError("It was encrypted under another SECRET_KEY, or is damaged.") from error


def locked(data: bytes) -> bytes:
    """A file that leaves this machine, encrypted."""
    return _fernet("files").encrypt(data)


def unlocked(data: bytes) -> bytes:
    """What was encrypted by `locked`; raises ValueError, as `decrypt` raises ProofRefused."""
    try:
        return _fernet("files").decrypt(data)
    except InvalidToken as error:
        raise ValueError("It was encrypted under another SECRET_KEY, or is damaged.") from error
