"""The refusals this app can give, worded for the person who reads them."""

from records.exceptions import Refusal


class ReminderError(Refusal):
    """Something about reminders and their messages that cannot be done as asked."""


class CannotSendAgain(ReminderError):
    """The message was sent, withdrawn or is being tried, so there is nothing to repeat."""
