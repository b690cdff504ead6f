"""Certificates as credentials that other programs check: what they say, and what they rest on.

The Verifiable Credentials Data Model v2.0 (W3C, section 4) and Open Badges 3.0 (1EdTech, appendix
B) for what is said; Securing Verifiable Credentials using JOSE and COSE (W3C, section 3.1) for
the signature; Bitstring Status List v1.0 (W3C, section 2) for what has become of it since.

Open Badges have room for one ``credentialStatus`` (their JSON schema for an AchievementCredential
wants an object), so one bit says that a credential is not to be accepted, whether for ever or for
a time: a suspension, the purpose that may end. Which of the two it is, the public page says.
"""

import json
from datetime import date, datetime, time, timedelta
from typing import Any
from urllib.parse import quote
from uuid import NAMESPACE_URL, uuid5
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.cache import cache
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _

from certification.domain.compact_jws import sign_compact
from certification.domain.status_list import encode_bits
from certification.models import Credential, SigningKey
from certification.queries.public_standing import set_bits
from certification.services.signing_keys import private_half
from people.models import Installation

from .certificate_document import public_address

VC_CONTEXT = "https://www.w3.org/ns/credentials/v2"
BADGE_CONTEXT = "https://purl.imsglobal.org/spec/ob/v3p0/context-3.0.3.json"
MEDIA_TYPE = "application/vc+jwt"
TYPE = "vc+jwt"
PURPOSE = "suspension"
LIST_IS_FRESH = timedelta(minutes=1)
"""How long a status list is kept in the cache, and by whoever fetched it."""
LIST_IS_GOOD = timedelta(days=1)
LAST_SECOND = time(23, 59, 59)
MOST_LISTS = 10_000


def issuer_address() -> str:
    return settings.PUBLIC_URL + reverse("certification:credential_issuer")


def list_address(status_list: int) -> str:
    return settings.PUBLIC_URL + reverse("certification:status_list", args=[status_list])


def jwks() -> dict[str, Any]:
    """The public keys whose signatures count, as a JWK Set (RFC 7517 section 5)."""
    return {
        "keys": [
            {**key.public_jwk, "kid": key.kid, "use": "sig"} for key in SigningKey.objects.trusted()
        ]
    }


def issuer_document() -> dict[str, Any]:
    """Who issues and with which keys: a controlled identifier document (W3C, section 2)."""
    issuer = issuer_address()
    methods = []
    for key in SigningKey.objects.trusted():
        method = {
            "id": f"{issuer}#{key.kid}",
            "type": "JsonWebKey",
            "controller": issuer,
            "publicKeyJwk": {**key.public_jwk, "kid": key.kid},
        }
        methods.append(method)
    return {
        "@context": "https://www.w3.org/ns/cid/v1",
        "id": issuer,
        "verificationMethod": methods,
        "assertionMethod": [method["id"] for method in methods],
    }


def issuer_metadata() -> dict[str, str]:
    """Where the keys of an issuer are, for whoever begins at the well-known address."""
    keys = settings.PUBLIC_URL + reverse("certification:signing_keys")
    return {"issuer": issuer_address(), "jwks_uri": keys}


def credential_jwt(credential: Credential, *, code: str) -> str:
    """A credential, signed; the same row gives the same text again.

    Parameters
    ----------
    code : str
        That opens the certificate's public page (`services.public_codes.code_of`).

    Raises
    ------
    KeyNotHere
        If this machine cannot sign with the credential's key.
    """
    with translation.override(settings.LANGUAGE_CODE):
        return _signed(credential_content(credential, code), credential.key)


def credential_content(credential: Credential, code: str) -> dict[str, Any]:
    """What a credential says, as the signature's payload holds it."""
    certificate = credential.certificate
    scope, zone = certificate.scope, certificate.person.site.zone
    issuer = issuer_address()
    place = f"{issuer}/{credential.status_list}/{credential.status_index}"
    document = scope.document
    description = f"{scope.title}, {document}" if document else scope.title
    page = public_address(certificate, code)
    restriction = (
        {"narrative": f"{_('Only:')} {credential.restriction}"} if credential.restriction else {}
    )
    return {
        "@context": [VC_CONTEXT, BADGE_CONTEXT],
        "id": f"urn:uuid:{uuid5(NAMESPACE_URL, place)}",
        "type": ["VerifiableCredential", "OpenBadgeCredential"],
        "name": scope.title,
        "issuer": {
            "id": issuer,
            "type": ["Profile"],
            "name": Installation.current().organisation,
            "url": settings.PUBLIC_URL,
        },
        "validFrom": _instant(certificate.issued_on, time(0), zone),
        "validUntil": _instant(credential.good_through, LAST_SECOND, zone),
        "credentialSubject": {
            "type": ["AchievementSubject"],
            "identifier": [
                _identity("name", credential.name),
                _identity("ext:employeeNumber", certificate.person.employee_number),
            ],
            "licenseNumber": certificate.number,
            **restriction,
            "achievement": {
                "id": f"{issuer}#scope-{quote(scope.code, safe='')}",
                "type": ["Achievement"],
                "achievementType": "Certification",
                "humanCode": scope.code,
                "name": scope.title,
                "description": description,
                "criteria": {
                    "narrative": _("Joints made and judged by hand, under the scheme %(scheme)s.")
                    % {"scheme": certificate.scheme_revision.name}
                },
            },
        },
        "evidence": [
            {
                "id": page,
                "type": ["Evidence"],
                "name": _("Public page of certificate %(number)s") % {"number": certificate.number},
            }
        ],
        "credentialStatus": {
            "id": f"{list_address(credential.status_list)}#{credential.status_index}",
            "type": "BitstringStatusListEntry",
            "statusPurpose": PURPOSE,
            "statusListIndex": str(credential.status_index),
            "statusListCredential": list_address(credential.status_list),
        },
    }


def status_list_jwt(status_list: int, *, at: datetime) -> str | None:
    """A status list, signed; None where there is none of that number.

    Working it out reads every credential in it, so all processes that share a cache do so once
    in `LIST_IS_FRESH`.
    """
    key = SigningKey.objects.current()
    if key is None:  # Nothing was ever signed.
        return None
    kept_as = f"status_list:{status_list}:{key.kid}"
    signed = cache.get(kept_as)
    if signed is None:
        indexes = set_bits(status_list, at)
        if indexes is None:
            return None
        signed = _signed(_list_content(status_list, indexes, at), key)
        cache.set(kept_as, signed, LIST_IS_FRESH.total_seconds())
    return signed


def _list_content(status_list: int, indexes: list[int], at: datetime) -> dict[str, Any]:
    address = list_address(status_list)
    return {
        "@context": [VC_CONTEXT],
        "id": address,
        "type": ["VerifiableCredential", "BitstringStatusListCredential"],
        "issuer": issuer_address(),
        "validFrom": at.isoformat(timespec="seconds"),
        "validUntil": (at + LIST_IS_GOOD).isoformat(timespec="seconds"),
        "credentialSubject": {
            "id": f"{address}#list",
            "type": "BitstringStatusList",
            "statusPurpose": PURPOSE,
            "encodedList": encode_bits(indexes),
            "ttl": int(LIST_IS_FRESH.total_seconds() * 1000),
        },
    }


def _signed(content: dict[str, Any], key: SigningKey) -> str:
    header = {"typ": TYPE, "cty": "vc", "kid": key.kid}
    payload = json.dumps(content, ensure_ascii=False, separators=(",", ":")).encode()
    return sign_compact(header, payload, private_half(key))


def _identity(kind: str, text: str) -> dict[str, Any]:
    """Somebody's name or number, in clear as on the paper."""
    return {
        "type": "IdentityObject",
        "hashed": False,
        "identityHash": text,
        "identityType": kind,
    }


def _instant(day: date, clock: time, zone: ZoneInfo) -> str:
    return datetime.combine(day, clock, zone).isoformat(timespec="seconds")
