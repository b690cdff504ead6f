"""The refusals this app can give, worded for the person who reads them."""


class RecordsError(Exception):
    """Something asked of the records that they cannot do."""


class AlreadyErased(RecordsError):
    """The payload of a trail entry has been erased before."""
