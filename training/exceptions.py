"""The refusals this app can give, worded for the person who reads them."""

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from records.exceptions import Refusal


class TrainingError(Refusal):
    """Something about classes, tools or facts about people that cannot be done as asked."""


class InAnotherClass(TrainingError):
    """Some of the people are in another class on a day of this one, of which nobody spoke.

    Parameters
    ----------
    enrolments : sequence of Enrolment
        Theirs in the other classes.
    """

    def __init__(self, enrolments: Sequence[Any]) -> None:
        self.enrolments = list(enrolments)
        names = ", ".join(
            f"{enrolment.person.full_name} ({enrolment.session.number})"
            for enrolment in self.enrolments
        )
        super().__init__(_("In another class on the same days: %(people)s.") % {"people": names})


class DraftChangedMeanwhile(TrainingError):
    """Somebody else changed a draft since the page was filled that would overwrite it."""
