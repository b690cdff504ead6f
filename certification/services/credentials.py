"""Credentials: what a holder takes away, signed, and the lists by which it can be called back."""

import secrets
from datetime import datetime

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from certification.domain.status_list import BITS, FULL
from certification.exceptions import CertificationError
from certification.models import Certificate, Credential
from certification.queries.public_standing import standing_of
from records.services import trail

from .locking import lock_certificate
from .signing_keys import current_key, private_half

MADE = "credential made"


@transaction.atomic
def make_credential(*, certificate: Certificate, actor: trail.Actor, at: datetime) -> Credential:
    """The credential of a certificate as it stands now; the same as long as nothing changes.

    Raises
    ------
    CertificationError
        If it does not stand today, or comes from elsewhere.
    KeyNotHere
        If this machine cannot sign.
    """
    certificate = lock_certificate(certificate)
    # After the person: the first key is made under the trail's lock, which is the last of all.
    key = current_key(at=at)
    private_half(key)
    if certificate.origin == Certificate.Origin.ELSEWHERE:
        raise CertificationError(
            _("Whoever issued %(number)s signs for it: its own document is on record here.")
            % {"number": certificate.number}
        )
    standing = standing_of(certificate, at)
    if not standing.stands or standing.good_through is None:
        raise CertificationError(
            _("Certificate %(number)s does not stand today, so nothing is signed for it.")
            % {"number": certificate.number}
        )
    content = {
        "certificate": certificate,
        "key": key,
        "name": certificate.printed_name,
        "restriction": standing.restriction,
        "good_through": standing.good_through,
    }
    credential = Credential.objects.filter(**content).first()
    if credential is None:
        credential = _with_a_bit(Credential(**content, recorded_at=at))
        trail.record(
            actor=actor,
            act=MADE,
            about=("certificate", certificate.number),
            payload={
                "key": key.kid,
                "status_list": credential.status_list,
                "status_index": credential.status_index,
            },
            at=at,
        )
    return credential


def _with_a_bit(credential: Credential) -> Credential:
    """Store it at an index that is drawn until it is nobody's."""
    credential.status_list = _open_list()
    while True:
        credential.status_index = secrets.randbelow(BITS)
        try:
            with transaction.atomic():  # Somebody else may be at the same index just now.
                credential.save(force_insert=True)
        except IntegrityError:
            place = {
                "status_list": credential.status_list,
                "status_index": credential.status_index,
            }
            if not Credential.objects.filter(**place).exists():
                raise
        else:
            return credential


def _open_list() -> int:
    """The latest list, or the next one where that is full; the first is 1."""
    latest = Credential.objects.order_by("-status_list").first()
    if latest is None:
        return 1
    in_latest = Credential.objects.filter(status_list=latest.status_list).count()
    return latest.status_list + (in_latest >= FULL)
