"""Sign-in at a provider by OpenID Connect: asked for, and what comes back verified.

The authorization code flow with PKCE (RFC 7636, S256), ``state`` and ``nonce``; of the ID token
signature, issuer, audience, times, nonce and, where a fresh sign-in was asked for, ``auth_time``.
allauth's own flow looks at neither nonce nor ``auth_time`` and takes its own address from the
request, so it is not used here.

References
----------
.. [1] OpenID Connect Core 1.0, sections 3.1.2.1 and 3.1.3.7.
"""

import json
import secrets
from base64 import urlsafe_b64encode
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any
from urllib.parse import quote_plus, urlencode, urlsplit

from django.conf import settings
from django.core.cache import cache
from django.urls import reverse
from django.utils.crypto import constant_time_compare
from django.utils.translation import gettext as _
from joserfc import jws, jwt
from joserfc.errors import JoseError
from joserfc.jwk import KeySet
from urllib3 import PoolManager, Timeout
from urllib3.exceptions import HTTPError
from urllib3.util import make_headers

from people.exceptions import ProviderRefused

# Signatures by a key pair alone: with a shared secret, whoever knows it could make a token.
ALGORITHMS = ["RS256", "PS256", "ES256"]
KEPT_S = 600  # What the provider says of itself is asked for again after this.
AWAY_S = 15
LEEWAY_S = 60  # By which clocks may differ.
FLOW_S = 900
MAX_ANSWER_BYTES = 1024 * 1024
TIMEOUT = Timeout(connect=5, read=10)
CALLBACK = "people:provider_back"

SIGN_IN, LINK, PROOF = "sign_in", "link", "proof"


@dataclass(frozen=True)
class Flow:
    """One way to the provider and back, kept in the session meanwhile."""

    purpose: str
    state: str
    nonce: str
    verifier: str
    begun_at_s: int
    next_url: str

    def kept(self) -> dict[str, Any]:
        return asdict(self)


def is_set_up() -> bool:
    return bool(settings.OIDC_ISSUER)


def begin(purpose: str, next_url: str, at: datetime) -> tuple[Flow, str]:
    """A new flow, and the address at the provider that it leads to.

    Raises
    ------
    ProviderRefused
        If the provider does not answer as one.
    """
    flow = Flow(
        purpose=purpose,
        state=secrets.token_urlsafe(32),
        nonce=secrets.token_urlsafe(32),
        verifier=secrets.token_urlsafe(48),
        begun_at_s=int(at.timestamp()),
        next_url=next_url,
    )
    challenge = urlsafe_b64encode(sha256(flow.verifier.encode()).digest()).rstrip(b"=").decode()
    asked = {
        "response_type": "code",
        "client_id": settings.OIDC_CLIENT_ID,
        "redirect_uri": _callback(),
        "scope": "openid",
        "state": flow.state,
        "nonce": flow.nonce,
        "code_challenge": challenge,
        "code_challenge_method": "S256",
    }
    if purpose != SIGN_IN:
        # Whoever is at an open session is not yet whom the provider knows.
        asked |= {"prompt": "login", "max_age": "0"}
    there = _address(_configuration(), "authorization_endpoint")
    return flow, f"{there}{'&' if urlsplit(there).query else '?'}{urlencode(asked)}"


def subject_of(kept: dict[str, Any] | None, came: dict[str, str], at: datetime) -> tuple[Flow, str]:
    """The flow that has come back, and who the provider says it is.

    Parameters
    ----------
    kept : dict or None
        What `Flow.kept` gave, taken out of the session: nothing comes back twice.
    came : dict
        The query of the address that the browser came back to.

    Raises
    ------
    ProviderRefused
        If anything of it is not as it was asked for.
    """
    again = _("Signing in there did not work. Begin again.")
    if kept is None:
        raise ProviderRefused(again)
    flow = Flow(**kept)
    if not constant_time_compare(flow.state, came.get("state", "")):
        raise ProviderRefused(again)
    # A provider that says who it is has to be this one (RFC 9207).
    if came.get("iss", settings.OIDC_ISSUER) != settings.OIDC_ISSUER:
        raise ProviderRefused(again)
    if at.timestamp() - flow.begun_at_s > FLOW_S:
        raise ProviderRefused(_("That took too long. Begin again."))
    if not came.get("code"):
        raise ProviderRefused(_("You did not sign in there. Begin again."))
    return flow, _claims(_id_token(came["code"], flow), flow, at)["sub"]


def _id_token(code: str, flow: Flow) -> str:
    answer = _ask(
        "POST",
        _address(_configuration(), "token_endpoint"),
        fields={
            "grant_type": "authorization_code",
            "code": code,
            "redirect_uri": _callback(),
            "code_verifier": flow.verifier,
        },
        # Each written out for a form first (RFC 6749, section 2.3.1).
        headers=make_headers(
            basic_auth=":".join(
                map(quote_plus, (settings.OIDC_CLIENT_ID, settings.OIDC_CLIENT_SECRET))
            )
        ),
    )
    token = answer.get("id_token")
    if not isinstance(token, str):
        raise ProviderRefused(_("The provider did not say who you are. Begin again."))
    return token


def _claims(token: str, flow: Flow, at: datetime) -> dict[str, Any]:
    now = int(at.timestamp())
    asked: dict[str, Any] = {
        "iss": {"essential": True, "value": settings.OIDC_ISSUER},
        "aud": {"essential": True, "value": settings.OIDC_CLIENT_ID},
        "exp": {"essential": True},
        "iat": {"essential": True},
        "sub": {"essential": True},
        "nonce": {"essential": True, "value": flow.nonce},
    }
    if flow.purpose != SIGN_IN:
        asked["auth_time"] = {"essential": True}
    registry = jwt.JWTClaimsRegistry(now=now, leeway=LEEWAY_S, **asked)
    try:
        claims = jwt.decode(token, _keys(token), algorithms=ALGORITHMS).claims
        registry.validate(claims)
    except (JoseError, ValueError, TypeError, KeyError) as error:
        raise ProviderRefused(
            _("What the provider says of you does not hold. Begin again.")
        ) from error
    subject = claims["sub"]
    audience = claims["aud"] if isinstance(claims["aud"], list) else [claims["aud"]]
    is_for_others = len(audience) > 1 and claims.get("azp") != settings.OIDC_CLIENT_ID
    is_name = isinstance(subject, str) and 0 < len(subject) <= 255 and subject.isprintable()
    if is_for_others or not is_name:
        raise ProviderRefused(_("What the provider says of you does not hold. Begin again."))
    if flow.purpose != SIGN_IN:
        signed_in_at = claims["auth_time"]
        if not isinstance(signed_in_at, int) or signed_in_at < flow.begun_at_s - LEEWAY_S:
            raise ProviderRefused(
                _("The provider did not ask you to sign in anew, so it proves nothing.")
            )
    return claims


def _keys(token: str) -> KeySet:
    """The provider's keys; asked for again where a token names one that is not among them."""
    named = jws.extract_compact(token.encode()).headers().get("kid")
    known = _signing_keys()
    if named is not None and named not in {key.get("kid") for key in known}:
        cache.delete(_cache_key("keys"))
        known = _signing_keys()
    return KeySet.import_key_set({"keys": known})


def _signing_keys() -> list[dict[str, Any]]:
    """Of what the provider names, the key pairs that sign."""
    kept = _kept_answer("keys", lambda: _address(_configuration(), "jwks_uri"))
    return [
        key
        for key in kept.get("keys", [])
        if key.get("kty") in ("RSA", "EC") and key.get("use", "sig") == "sig"
    ]


def _configuration() -> dict[str, Any]:
    known = _kept_answer(
        "configuration",
        lambda: f"{settings.OIDC_ISSUER.rstrip('/')}/.well-known/openid-configuration",
    )
    if known.get("issuer") != settings.OIDC_ISSUER:
        raise ProviderRefused(
            _("The provider calls itself otherwise than this site is told. Ask an administrator.")
        )
    return known


def _kept_answer(what: str, address: Callable[[], str]) -> dict[str, Any]:
    """An answer, kept; that there was none is kept for a while too, so that nobody waits for it."""
    answer = cache.get(_cache_key(what))
    if answer is None:
        asked_of = address()
        try:
            answer = _ask("GET", asked_of)
        except ProviderRefused:
            cache.set(_cache_key(what), {}, AWAY_S)
            raise
        cache.set(_cache_key(what), answer, KEPT_S)
    if not answer:
        raise ProviderRefused(_no_answer())
    return answer


def _no_answer() -> str:
    return _("The provider does not answer. Try again later, or sign in by password.")


def _cache_key(what: str) -> str:
    return f"oidc-{what}-{sha256(settings.OIDC_ISSUER.encode()).hexdigest()[:24]}"


def _address(configuration: dict[str, Any], name: str) -> str:
    """An address that the provider names; by https, where it is not this very machine."""
    address = configuration.get(name)
    parts = urlsplit(address if isinstance(address, str) else "")
    is_here = parts.hostname in ("127.0.0.1", "localhost", "::1")
    if parts.scheme != "https" and not (parts.scheme == "http" and is_here):
        raise ProviderRefused(
            _("The provider does not say where to sign in. Ask an administrator.")
        )
    return str(address)


def _callback() -> str:
    return settings.PUBLIC_URL + reverse(CALLBACK)


def _ask(method: str, address: str, **more: Any) -> dict[str, Any]:
    """What the provider answers, an object as JSON; no redirects, and no more than it may hold."""
    failed = _no_answer()
    pool = PoolManager(timeout=TIMEOUT, retries=False)
    try:
        if "fields" in more:
            more["encode_multipart"] = False
        response = pool.request(method, address, preload_content=False, redirect=False, **more)
        body = response.read(MAX_ANSWER_BYTES + 1)
        response.release_conn()
        if response.status != 200 or len(body) > MAX_ANSWER_BYTES:
            raise ProviderRefused(failed)
        answer = json.loads(body)
    except (HTTPError, ValueError) as error:
        raise ProviderRefused(failed) from error
    finally:
        pool.clear()
    if not isinstance(answer, dict):
        raise ProviderRefused(failed)
    return answer
