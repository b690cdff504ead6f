"""One act on somebody's certificates: who acts, when, how they showed who they are, and why."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _

from certification.exceptions import CertificationError
from people.models import Person, User
from records.models import Signature
from records.services import trail
from records.services.shown import refuse_unless_shown


@dataclass(frozen=True, slots=True)
class Act:
    """What every act on certificates carries from the page to the row.

    Attributes
    ----------
    actor : User
        Who acts, and signs where the act is signed.
    at : datetime
        When it is entered.
    proof : str
        How the actor has just shown who they are; empty for an act that is not signed.
    reason : str
    effective_on : date or None
        The day that the act speaks of; None for the person's own today.
    shown : str or None
        The digest of what the actor was shown (`presenters.signing_shown`); None for an act
        without a page.
    """

    actor: User
    at: datetime
    proof: str = ""
    reason: str = ""
    effective_on: date | None = None
    shown: str | None = None

    def day_for(self, person: Person) -> date:
        """The day that the act speaks of, at the person's site."""
        return self.effective_on or person.site.today(self.at)

    def required_reason(self) -> str:
        """The reason; raise CertificationError where none was given."""
        if not self.reason.strip():
            raise CertificationError(_("Give the reason: it is kept with the certificate."))
        return self.reason.strip()

    def refuse_unless_shown(self, content: Mapping[str, Any]) -> None:
        """Raise ShownOtherwise unless this is what the actor was shown; call it under the lock."""
        refuse_unless_shown(self.shown, content)

    def sign(
        self, person: Person, *, meaning: str, about: tuple[str, str], content: Mapping[str, Any]
    ) -> Signature:
        """Sign something about somebody, by the clock of their site."""
        return trail.sign(
            actor=self.actor,
            meaning=meaning,
            about=about,
            content=content,
            at=self.at,
            zone=person.site.time_zone,
            proof=self.proof,
        )
