"""The refusals this app can give, worded for the person who reads them."""


class Refusal(Exception):
    """Something that cannot be done as asked; its text says why, and what to do.

    The base error of every app derives from it.
    """


class RecordsError(Refusal):
    """Something asked of the records that they cannot do."""


class SiteIsServed(RecordsError):
    """Somebody serves the site that an act needs to itself."""


class SiteIsTaken(RecordsError):
    """Somebody has the site to themselves, so it is not served."""


class AlreadyErased(RecordsError):
    """The payload of a trail entry has been erased before."""


class CannotRead(Refusal):
    """A file or folder holds nothing that can be read as what it should be."""
