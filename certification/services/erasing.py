"""Certificates of somebody whose name is erased: what was certified stays, under their number."""

from certification.models import Certificate, CertificateName, Credential
from people.models import Person
from people.ports import Erasure
from records.domain.kinds import kind_of
from records.queries.removals import What
from records.services import removals


def names_of_holder(person: Person) -> set[str]:
    """Every name that a certificate of theirs, or a credential of one, bears."""
    certificates = Certificate.objects.filter(person=person)
    names = CertificateName.objects.filter(certificate__person=person)
    credentials = Credential.objects.filter(certificate__person=person).values_list("pk", "name")
    return {
        *certificates.values_list("holder_name", flat=True),
        *names.values_list("name", flat=True),
        *(name for key, name in credentials if name != _instead(key)),
    }


def erase_holder(erasure: Erasure) -> None:
    """Put the number in the place of every name that a certificate bears.

    Credentials of it that are out there name somebody whom nothing here names any more, so their
    bits stay set. What was erased before stays as it was left.
    """
    person, texts = erasure.person, erasure.texts
    certificates = Certificate.objects.filter(person=person, holder_name__in=texts)
    names = CertificateName.objects.filter(certificate__person=person, name__in=texts)
    credentials = Credential.objects.filter(certificate__person=person, name__in=texts)
    certificates.update(holder_name=person.employee_number)
    named = {
        *names.order_by().values_list("certificate", flat=True),
        *credentials.order_by().values_list("certificate", flat=True),
    }
    kind = kind_of(Certificate.__name__)
    for start in range(0, len(keys := sorted(named)), removals.MOST_AT_ONCE):
        batch = keys[start : start + removals.MOST_AT_ONCE]
        removals.remove(
            things=[(kind, str(key)) for key in batch],
            what=What.NAME,
            reason=erasure.reason,
            actor=None,
            at=erasure.at,
        )
    names.update(name=person.employee_number)
    for key in list(credentials.values_list("pk", flat=True)):
        Credential.objects.filter(pk=key).update(name=_instead(key))


def _instead(key: int) -> str:
    """What a credential bears for a name: two of one certificate may differ in nothing else."""
    return f"erased-{key}"
