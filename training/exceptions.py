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


class MeetsOtherClasses(TrainingError):
    """Other classes have the same room or instructor on a day of this one, of which nobody spoke.

    Parameters
    ----------
    meetings : sequence of training.queries.meeting_classes.Meeting
    enrolments : sequence of Enrolment
        In other classes on these days, of people who are to be enrolled with the plan: so that a
        page says both at once.
    """

    def __init__(self, meetings: Sequence[Any], enrolments: Sequence[Any] = ()) -> None:
        self.meetings, self.enrolments = list(meetings), list(enrolments)
        numbers = ", ".join(meeting.session.number for meeting in self.meetings)
        super().__init__(
            _("The room or the instructor has another class on the same day: %(classes)s.")
            % {"classes": numbers}
        )


class ClassChangedMeanwhile(TrainingError):
    """Somebody else changed a class since the page was filled that would overwrite it."""


class ToolChangedMeanwhile(TrainingError):
    """Somebody else changed a tool since the page was filled that would overwrite it."""


class DraftChangedMeanwhile(TrainingError):
    """Somebody else changed a draft since the page was filled that would overwrite it."""
