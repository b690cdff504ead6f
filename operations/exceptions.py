"""The refusals this app can give, worded for the person who reads them."""

from records.exceptions import Refusal


class OperationsError(Refusal):
    """Something about running the site that cannot be done as asked."""


class DatabaseOfAnotherVersion(OperationsError):
    """The database went through migrations that this version does not have."""
