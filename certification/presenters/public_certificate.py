"""What the public page of a certificate says: what its paper shows, and whether it stands today."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from certification.domain.public_standing import PublicStanding
from certification.models import Certificate
from certification.queries.public_standing import standing_of
from people.models import Installation

from .public_words import SHAPES, STATES


@dataclass(frozen=True)
class PublicCertificate:
    certificate: Certificate
    organisation: str
    name: str
    standing: PublicStanding
    today: date

    @classmethod
    def of(cls, certificate: Certificate, at: datetime) -> "PublicCertificate":
        return cls(
            certificate,
            Installation.current().organisation,
            certificate.printed_name,
            standing_of(certificate, at),
            certificate.person.site.today(at),
        )

    @property
    def says(self) -> Any:
        return STATES[self.standing.state]

    @property
    def shape(self) -> str:
        return SHAPES[self.standing.state]

    @property
    def tone(self) -> str:
        return "is-accept" if self.standing.stands else "is-reject"

    @property
    def restriction(self) -> str:
        """What alone it allows: today where it stands, else as it was issued."""
        return self.standing.restriction or self.certificate.restriction

    @property
    def good_through(self) -> date:
        return self.standing.good_through or self.certificate.valid_through
