"""A small OpenID provider on this machine: it signs in whom a test says, as a test says."""

import hmac
import json
import threading
import time
from base64 import b64decode, urlsafe_b64encode
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from secrets import token_urlsafe
from typing import Any
from urllib.parse import parse_qs, unquote_plus, urlencode, urlsplit

from joserfc import jwt
from joserfc.jwk import RSAKey

CLIENT_ID, CLIENT_SECRET = "training site", "s3cret:with/signs"


@dataclass
class Provider:
    """What it does is changed by assigning to it."""

    address: str = ""
    subject: str = "subject-1"
    claims: dict[str, Any] = field(default_factory=dict)
    """Laid over the claims of the next tokens; None leaves one out."""
    signed_in_at: int | None = None
    """When its own session began; it begins anew where a fresh sign-in is asked for."""
    honours_prompt: bool = True
    issuer: str = ""
    algorithm: str = "RS256"
    key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, {"kid": "one"}))
    signs_with: Any = None
    asked: list[dict[str, str]] = field(default_factory=list)
    codes: dict[str, dict[str, str]] = field(default_factory=dict)
    refusals: list[str] = field(default_factory=list)

    def configuration(self) -> dict[str, Any]:
        return {
            "issuer": self.issuer or self.address,
            "authorization_endpoint": f"{self.address}/authorize",
            "token_endpoint": f"{self.address}/token",
            "jwks_uri": f"{self.address}/keys",
        }

    def authorize(self, asked: dict[str, str]) -> str:
        """Where the browser goes on to, once somebody has signed in here."""
        self.asked.append(asked)
        if asked.get("client_id") != CLIENT_ID or asked.get("code_challenge_method") != "S256":
            raise AssertionError(asked)
        fresh = asked.get("prompt") == "login" and self.honours_prompt
        if fresh or self.signed_in_at is None:
            self.signed_in_at = int(time.time())
        code = token_urlsafe(16)
        self.codes[code] = asked
        back = {"code": code, "state": asked["state"]}
        return f"{asked['redirect_uri']}?{urlencode(back)}"

    def token(self, headers: Any, sent: dict[str, str]) -> dict[str, Any] | None:
        asked = self.codes.pop(sent.get("code", ""), None)
        told = b64decode(headers.get("Authorization", "Basic ").removeprefix("Basic ")).decode()
        client = tuple(unquote_plus(part) for part in told.split(":", 1))
        digest = sha256(sent.get("code_verifier", "").encode()).digest()
        challenge = urlsafe_b64encode(digest).rstrip(b"=").decode()
        reasons = {
            "code": asked is None,
            "client": client != (CLIENT_ID, CLIENT_SECRET),
            "verifier": asked is not None and asked["code_challenge"] != challenge,
            "address": asked is not None and asked["redirect_uri"] != sent.get("redirect_uri"),
        }
        self.refusals += [reason for reason, refused in reasons.items() if refused]
        if asked is None or any(reasons.values()):
            return None
        now = int(time.time())
        claims = {
            "iss": self.address,
            "aud": CLIENT_ID,
            "sub": self.subject,
            "iat": now,
            "exp": now + 300,
            "nonce": asked["nonce"],
            "auth_time": self.signed_in_at,
        } | self.claims
        claims = {name: value for name, value in claims.items() if value is not None}
        key = self.signs_with or self.key
        header = {"alg": self.algorithm, "kid": key.kid}
        if self.algorithm in ("none", "HS256"):
            signed = self._forged(header, claims)
        else:
            signed = jwt.encode(header, claims, key, algorithms=[self.algorithm])
        return {"access_token": "unused", "token_type": "Bearer", "id_token": signed}

    def _forged(self, header: dict[str, Any], claims: dict[str, Any]) -> str:
        """A token with no signature, or with one by what everybody knows as if it were a secret."""
        parts = [urlsafe_b64encode(json.dumps(part).encode()) for part in (header, claims)]
        signed = b".".join(part.rstrip(b"=") for part in parts)
        signature = b""
        if self.algorithm == "HS256":
            signature = hmac.digest(self.key.as_pem(private=False), signed, "sha256")
        return f"{signed.decode()}.{urlsafe_b64encode(signature).rstrip(b'=').decode()}"


@contextmanager
def running() -> Iterator[Provider]:
    provider = Provider()

    class Handler(BaseHTTPRequestHandler):
        def log_message(self, *_args: Any) -> None:
            """Say nothing of what is asked."""

        def answer(self, body: dict[str, Any] | None) -> None:
            text = json.dumps(body or {"error": "invalid_grant"}).encode()
            self.send_response(200 if body is not None else 400)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(text)))
            self.end_headers()
            self.wfile.write(text)

        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            if parts.path == "/.well-known/openid-configuration":
                self.answer(provider.configuration())
            elif parts.path == "/keys":
                self.answer({"keys": [provider.key.as_dict(private=False)]})
            elif parts.path == "/authorize":
                asked = {name: values[0] for name, values in parse_qs(parts.query).items()}
                self.send_response(302)
                self.send_header("Location", provider.authorize(asked))
                self.send_header("Content-Length", "0")
                self.end_headers()
            else:
                self.send_error(404)

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"])).decode()
            sent = {name: values[0] for name, values in parse_qs(body).items()}
            self.answer(provider.token(self.headers, sent))

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    provider.address = f"http://127.0.0.1:{server.server_address[1]}"
    try:
        yield provider
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
