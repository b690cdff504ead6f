"""Certificates that stand on a result that was corrected since, until quality has decided."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import QuerySet

from assessments.queries.corrected_results import NoPass, no_pass_since_corrected
from certification.domain.facts import EventKind, Facts, known
from certification.models import Certificate

from . import standing_on_day

DECIDES = frozenset(
    {
        EventKind.SUSPENDED,
        EventKind.REINSTATED,
        EventKind.RESTRICTED,
        EventKind.ENDED,
        EventKind.REVOKED,
    }
)
"""What quality does to a certificate in the knowledge of how it stands; reinstated, it is kept."""

AT_ONCE = timedelta(days=1)
"""More than lies between the instants of a correction and of what was issued while it was made."""


@dataclass(frozen=True, slots=True)
class OnCorrected:
    """A certificate, and what of that which it was issued on is no pass any more.

    ``is_open`` is whether it can be stopped still, and nothing was decided of it since.
    """

    certificate: Certificate
    results: tuple[NoPass, ...]
    is_open: bool

    @property
    def since(self) -> datetime:
        return max(result.since for result in self.results)


def on_corrected_results(
    certificates: QuerySet[Certificate], now: datetime, *, person_id: int | None = None
) -> list[OnCorrected]:
    """Which of some certificates were issued on a result that is no pass any more.

    Parameters
    ----------
    certificates : QuerySet of Certificate
        Those that were withdrawn are left out.
    person_id : int, optional
        Whose they all are, where they are one person's.
    """
    corrected: dict[int, list[NoPass]] = defaultdict(list)
    for result in no_pass_since_corrected(None if person_id is None else [person_id]):
        corrected[result.person_id].append(result)
    if not corrected:
        return []
    issued = certificates.filter(
        person__in=corrected, withdrawal__isnull=True, origin=Certificate.Origin.OWN
    )
    # Most of what is corrected to a fail was so before its maker was certified at all, and what
    # certificates stand on is long.
    before = [
        pk
        for pk, person, recorded_at in issued.values_list("pk", "person", "recorded_at")
        if any(recorded_at < result.since + AT_ONCE for result in corrected[person])
    ]
    found = {
        certificate: results
        for certificate in Certificate.objects.filter(pk__in=before).select_related(
            "person__site", "scope"
        )
        if (results := _named(certificate.evidence, corrected[certificate.person_id]))
    }
    if not found:
        return []
    facts = standing_on_day.facts_for_many({certificate.person_id for certificate in found})
    return sorted(
        (
            OnCorrected(
                certificate,
                results,
                _is_open(
                    certificate,
                    facts.by_person_and_scope[certificate.person_id, certificate.scope_id],
                    max(result.since for result in results),
                    now,
                ),
            )
            for certificate, results in found.items()
        ),
        key=lambda one: (one.since, one.certificate.number),
    )


def _named(evidence: Mapping[str, Any], corrected: Sequence[NoPass]) -> tuple[NoPass, ...]:
    """Those that a copy of evidence names."""
    numbers = {
        is_paper: {copied["number"] for copied in evidence.get(part, ())}
        for is_paper, part in ((False, "boards"), (True, "written_tests"))
    }
    return tuple(result for result in corrected if result.number in numbers[result.is_paper])


def _is_open(certificate: Certificate, facts: Facts, since: datetime, now: datetime) -> bool:
    history = standing_on_day.histories_in(facts).get(certificate.number)
    today = certificate.person.site.today(now)
    if history is None:  # Withdrawn just now.
        return False
    if history.last_day < today or standing_on_day.is_revoked_on(history, today):
        return False
    return not any(
        event.certificate_number == certificate.number
        and event.kind in DECIDES
        and event.recorded_at > since
        for event in known(facts).events
    )
