"""The refusals this app can give, worded for the person who reads them."""

from records.exceptions import Refusal


class InterfaceError(Refusal):
    """Something about tokens or web hooks that cannot be done as asked."""


class CannotSendAgain(InterfaceError):
    """The event was taken, or is being sent, so there is nothing to repeat."""
