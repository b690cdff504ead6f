"""The refusals this app can give, worded for the person who reads them."""


class Refusal(Exception):
    """Something that cannot be done as asked; its text says why, and what to do.

    The base error of every app derives from it.
    """


class RecordsError(Refusal):
    """Something asked of the records that they cannot do."""


class AlreadyErased(RecordsError):
    """The payload of a trail entry has been erased before."""
