"""The code that opens a certificate's public page, and looking one up by number and code.

A number is no secret, and a code has 59 bits. Whoever asks for a number that nobody has and
whoever types a wrong code get the same answer, and both count as a wrong try of their address.
"""

import secrets
from datetime import datetime

from django.db import transaction
from django.utils.crypto import constant_time_compare
from django.utils.translation import gettext as _

from certification.exceptions import CertificationError
from certification.models import Certificate, PublicCode
from people.domain import printed_codes
from people.services.tries import count_try, public_code_tries, take_back_try

LENGTH = 12  # letters and digits of 31: 59 bits


@transaction.atomic
def code_of(certificate: Certificate) -> str:
    """The code of a certificate as it is printed, made when it is first asked for."""
    letters = "".join(secrets.choice(printed_codes.LETTERS) for _letter in range(LENGTH))
    row, _made = PublicCode.objects.get_or_create(
        certificate=certificate, defaults={"code": letters}
    )
    return printed_codes.in_groups(row.code)


def certificate_by_code(*, number: str, code: str, address: str, at: datetime) -> Certificate:
    """The certificate that a number and a code read off paper belong to.

    Raises
    ------
    TriedTooOften
        If too many tries from this address were wrong just now.
    CertificationError
        If they do not go together.
    """
    tries = public_code_tries(address)
    count_try(tries, at)
    typed = printed_codes.plain(code[: printed_codes.LONGEST_TYPED])
    codes = PublicCode.objects.filter(certificate__number__iexact=number.strip()[:80])
    for row in codes.select_related(
        "certificate__person__site",
        "certificate__scope",
        "certificate__scheme_revision",
        "certificate__renews",
        "certificate__signature",
    ):
        if constant_time_compare(row.code, typed):
            take_back_try(tries, at)
            return row.certificate
    raise CertificationError(
        _("Number and code do not go together. Read both off the certificate again.")
    )
