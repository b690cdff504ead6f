"""What is said of certificates that stand on a result which was corrected since."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.utils.translation import gettext as _

from assessments.access import outcomes_closed_to
from assessments.queries.corrected_results import NoPass
from certification.access import certificates_acted_on_by
from certification.models import Certificate
from certification.queries.corrected_evidence import OnCorrected, on_corrected_results
from people.models import Site, User
from people.presenters.days import format_day


@dataclass(frozen=True, slots=True)
class CorrectedLine:
    """A certificate, and a sentence for each of its results that is no pass any more.

    ``is_open`` is whether it waits for quality to decide.
    """

    certificate: Certificate
    says: tuple[str, ...]
    since: datetime
    is_open: bool

    @property
    def since_day(self) -> date:
        """Where its holder is."""
        return self.certificate.person.site.today(self.since)


def waiting_for(user: User, now: datetime) -> list[CorrectedLine]:
    """Certificates that the user is to decide on as quality, longest corrected first."""
    found = on_corrected_results(certificates_acted_on_by(user), now)
    return _lines([one for one in found if one.is_open], user)


def line_of(certificate: Certificate, user: User, now: datetime) -> CorrectedLine | None:
    """The same of one certificate, whoever reads it; None where all that it stands on is passed."""
    found = on_corrected_results(
        Certificate.objects.filter(pk=certificate.pk), now, person_id=certificate.person_id
    )
    return next(iter(_lines(found, user)), None)


def _lines(found: Sequence[OnCorrected], user: User) -> list[CorrectedLine]:
    """As the user may know of it: whoever is to read a board again knows nothing of its result."""
    if not found:
        return []
    closed = outcomes_closed_to(
        user, {result.number for one in found for result in one.results if not result.is_paper}
    )
    lines = []
    for one in found:
        site = one.certificate.person.site
        open_to = [each for each in one.results if each.is_paper or each.number not in closed]
        if open_to:
            says = tuple(_says(result, site) for result in open_to)
            lines.append(CorrectedLine(one.certificate, says, one.since, one.is_open))
    return lines


def _says(result: NoPass, site: Site) -> str:
    facts = {"number": result.number, "day": format_day(site.today(result.since))}
    if result.is_paper:
        return (
            _(
                "The result of paper %(number)s was corrected on %(day)s: the written test is not "
                "passed any more."
            )
            % facts
        )
    return (
        _("The result of board %(number)s was corrected on %(day)s: it is not passed any more.")
        % facts
    )
