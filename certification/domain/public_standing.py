"""Whether one certificate stands on a day, as anybody may know who holds its paper.

That is less than the register says. A lapse is a lapse, whatever it came from: why somebody's
standing failed may be their eyes (`disclosure`).
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from .answers import Standing
from .facts import Facts, known
from .periods import certificate_histories
from .standing import timeline


class PublicState(StrEnum):
    STANDS = "stands"
    NOT_YET = "not_yet"
    REPLACED = "replaced"
    """Within its days, and a later certificate of the same person and scope answers."""
    NOT_CURRENT = "not_current"
    SUSPENDED = "suspended"
    REVOKED = "revoked"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True)
class PublicStanding:
    """How one certificate stands on a day.

    Attributes
    ----------
    state : PublicState
    restriction : str
        What alone it allows, by itself and by an event; empty unless it stands.
    good_through : date or None
        Its last day after every event; None where it was withdrawn.
    """

    state: PublicState
    restriction: str = ""
    good_through: date | None = None

    @property
    def stands(self) -> bool:
        return self.state is PublicState.STANDS


def public_standing(facts: Facts, number: str, day: date) -> PublicStanding:
    """Say how the certificate of that number stands.

    Parameters
    ----------
    facts : Facts
        All that is recorded of its person and scope.
    """
    stated = known(facts)
    histories = {
        history.certificate.number: history
        for history in certificate_histories(stated.certificates, stated.events)
    }
    history = histories.get(number)
    if history is None:
        return PublicStanding(PublicState.WITHDRAWN)
    through = history.last_day
    if history.revoked_on is not None and history.revoked_on <= day:
        return PublicStanding(PublicState.REVOKED, good_through=through)
    if day < history.certificate.issued_on:
        return PublicStanding(PublicState.NOT_YET, good_through=through)
    answer = timeline(facts).on(day)
    if answer.certificate_number != number:
        replaced = answer.standing is Standing.CERTIFIED and day <= through
        state = PublicState.REPLACED if replaced else PublicState.NOT_CURRENT
        return PublicStanding(state, good_through=through)
    if answer.standing is Standing.CERTIFIED:
        return PublicStanding(PublicState.STANDS, answer.restriction, through)
    if answer.standing is Standing.SUSPENDED:
        return PublicStanding(PublicState.SUSPENDED, good_through=through)
    return PublicStanding(PublicState.NOT_CURRENT, good_through=through)
