"""What certificates rest on, which stays for as long as they can be asked about.

A certificate is never removed, and may be asked about on any day and as known at any instant. So
a fact stays that could make one answer differ, whether or not it was withdrawn since. Where that is
hard to tell, it stays too.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from datetime import date

from django.db.models import Exists, Max, OuterRef, Q

from assessments.models import Board
from certification.domain.months import add_months
from certification.models import Certificate, CertificateEvent, Proposal
from training.models import VisionTest

Kind = CertificateEvent.Kind


def last_days(certificates: Iterable[Certificate]) -> Mapping[int, date]:
    """The last day on which each could be good, by its key: as issued, or as extended to."""
    by_key = {certificate.pk: certificate.valid_through for certificate in certificates}
    extended = CertificateEvent.objects.filter(certificate__in=by_key, kind=Kind.EXTENDED)
    for key, until in extended.order_by().values_list("certificate").annotate(last=Max("until")):
        by_key[key] = max(by_key[key], until)
    return by_key


def vision_tests_in_use(tests: Collection[VisionTest]) -> Mapping[int, str]:
    """Of these tests those that an answer may rest on, with the number of such a certificate.

    A test tells something of the days from its own through the last of its scheme's months: a
    pass makes sight current on them, a fail takes that from an earlier pass, which is older. The
    last before a certificate was issued stays whatever its age: an answer may name it.
    """
    people = {test.person_id for test in tests}
    certificates = list(
        Certificate.objects.filter(
            person__in=people, scheme_revision__vision_months__gt=0
        ).select_related("scheme_revision")
    )
    last = last_days(certificates)
    by_person: dict[int, list[Certificate]] = defaultdict(list)
    for certificate in certificates:
        by_person[certificate.person_id].append(certificate)
    days: dict[int, list[date]] = defaultdict(list)
    tested = VisionTest.objects.filter(person__in=people).values_list("person", "tested_on")
    for person, day in tested:
        days[person].append(day)

    def rests_on(certificate: Certificate, test: VisionTest) -> bool:
        issued = certificate.issued_on
        if test.tested_on > last[certificate.pk]:
            return False
        months = certificate.scheme_revision.vision_months
        newest_before = max((day for day in days[test.person_id] if day <= issued), default=None)
        return issued <= add_months(test.tested_on, months) or test.tested_on == newest_before

    return {
        test.pk: certificate.number
        for test in tests
        for certificate in by_person[test.person_id]
        if rests_on(certificate, test)
    }


def practice_in_use() -> Q:
    """Work that the walk of some certificate may step on."""
    extended = CertificateEvent.objects.filter(
        certificate=OuterRef("pk"),
        kind=Kind.EXTENDED,
        until__gte=OuterRef(OuterRef("performed_on")),
    )
    certificates = Certificate.objects.filter(
        Q(valid_through__gte=OuterRef("performed_on")) | Q(Exists(extended)),
        person=OuterRef("person"),
        scope__code=OuterRef("scope_code"),
        issued_on__lte=OuterRef("performed_on"),
        scheme_revision__max_absence_months__gt=0,
    )
    return Q(Exists(certificates))


def boards_in_use(boards: Collection[Board]) -> Mapping[int, str]:
    """Of these boards those that a certificate or an undecided proposal copies, and which."""
    people = {board.person_id for board in boards}
    named: dict[str, str] = {}
    for certificate in Certificate.objects.filter(person__in=people).only("number", "evidence"):
        for copied in certificate.evidence.get("boards", ()):
            named.setdefault(copied.get("number", ""), certificate.number)
    for proposal in Proposal.objects.open().filter(person__in=people).select_related("scope"):
        for copied in proposal.evidence.get("boards", ()):
            named.setdefault(copied.get("number", ""), proposal.scope.code)
    return {board.pk: named[board.number] for board in boards if board.number in named}
