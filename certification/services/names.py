"""Issuing certificates again under the name that their holder has now."""

from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from certification.exceptions import CertificationError, MayNotCertify
from certification.models import CertificateName
from certification.queries import names, written_down
from people.models import Person, Role
from people.services.people import lock_person

from .acts import Act


@transaction.atomic
def issue_again(*, person: Person, act: Act) -> list[CertificateName]:
    """Have every certificate of somebody that is in force bear the name they have now.

    Numbers, periods and standing stay: only the name on the paper is another, and the paper says
    since when.

    Raises
    ------
    MayNotCertify
        If it is the actor's own, or they are not quality at the person's site.
    CertificationError
        If none bears another name, or no reason is given.
    ShownOtherwise
        If they are not the ones that the actor was shown.
    """
    person = lock_person(person)
    if act.actor.person_id == person.pk or not act.actor.has_role(
        Role.QUALITY, site=person.site_id
    ):
        raise MayNotCertify(_("Quality at their site issues certificates, and never their own."))
    day = person.site.today(act.at)
    rows = rows_to_sign(person, day)
    act.refuse_unless_shown(written_down.names_to_sign(rows))
    if not rows:
        raise CertificationError(
            _("Every certificate in force bears the name %(name)s already.")
            % {"name": person.full_name}
        )
    reason = act.required_reason()
    for row in rows:
        row.reason, row.recorded_at = reason, act.at
    signature = act.sign(
        person,
        meaning=written_down.ISSUES_AGAIN,
        about=("certificate-name", rows[0].certificate.number),
        content=written_down.issued_again_content(rows),
    )
    for row in rows:
        row.signature = signature
    return CertificateName.objects.bulk_create(rows)


def rows_to_sign(person: Person, day: date) -> list[CertificateName]:
    """The rows as they would be written on a day: without reason, instant and signature."""
    since = names.name_since(person, day)
    return [
        CertificateName(certificate=certificate, name=person.full_name, from_day=since)
        for certificate in names.bearing_another_name(person, day)
    ]
