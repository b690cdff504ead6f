"""Certificates of somebody whose name is erased: what was certified stays, under their number."""

from certification.models import Certificate, CertificateName
from people.ports import Erasure
from records.domain.kinds import kind_of
from records.queries.removals import What
from records.services import removals


def erase_holder(erasure: Erasure) -> None:
    """Put the number in the place of every name that a certificate bears."""
    person = erasure.person
    certificates = Certificate.objects.filter(person=person)
    names = CertificateName.objects.filter(certificate__person=person)
    erasure.texts |= set(certificates.values_list("holder_name", flat=True))
    erasure.texts |= set(names.values_list("name", flat=True))
    certificates.update(holder_name=person.employee_number)
    again = names.order_by().values_list("certificate", flat=True).distinct()
    kind = kind_of(Certificate.__name__)
    for start in range(0, len(keys := list(again)), removals.MOST_AT_ONCE):
        batch = keys[start : start + removals.MOST_AT_ONCE]
        removals.remove(
            things=[(kind, str(key)) for key in batch],
            what=What.NAME,
            reason=erasure.reason,
            actor=None,
            at=erasure.at,
        )
    names.update(name=person.employee_number)
