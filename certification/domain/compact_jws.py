"""JSON Web Signatures in their compact form, by Ed25519: what a credential is secured with."""

import json
from base64 import urlsafe_b64encode
from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

ALGORITHM = "EdDSA"
"""As RFC 8037 section 3.1 registers it. RFC 9864 has a newer name for the same signature,
"Ed25519", which fewer wallets know yet."""


def base64url(content: bytes) -> str:
    """Bytes as base64url without padding (RFC 7515 section 2)."""
    return urlsafe_b64encode(content).rstrip(b"=").decode()


def sign_compact(header: Mapping[str, Any], payload: bytes, key: Ed25519PrivateKey) -> str:
    """Sign a payload (RFC 7515 section 7.1, RFC 8037 section 3.1).

    The same header, payload and key give the same text: Ed25519 draws nothing at random.

    Parameters
    ----------
    header : mapping
        The protected header besides ``alg``, such as ``{"typ": "vc+jwt", "kid": "..."}``.

    Examples
    --------
    >>> sign_compact({}, b"x", Ed25519PrivateKey.from_private_bytes(bytes(32)))[:24]
    'eyJhbGciOiJFZERTQSJ9.eA.'
    """
    protected = json.dumps({"alg": ALGORITHM, **header}, separators=(",", ":")).encode()
    signed = f"{base64url(protected)}.{base64url(payload)}"
    return f"{signed}.{base64url(key.sign(signed.encode()))}"


def public_jwk(key: Ed25519PrivateKey) -> dict[str, str]:
    """The public half as a JSON Web Key (RFC 8037 section 2)."""
    return {
        "crv": "Ed25519",
        "kty": "OKP",
        "x": base64url(key.public_key().public_bytes_raw()),
    }


def thumbprint(jwk: Mapping[str, str]) -> str:
    """What tells a key from every other: SHA-256 of its required members (RFC 7638 section 3)."""
    members = {name: jwk[name] for name in ("crv", "kty", "x")}
    text = json.dumps(members, separators=(",", ":"), sort_keys=True)
    return base64url(sha256(text.encode()).digest())
