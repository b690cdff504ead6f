"""The refusals this app can give, worded for the person who reads them."""

from django.utils.translation import gettext as _


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


class ShownOtherwise(RecordsError):
    """What would be signed is not what the signer was shown; nothing was signed."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "What you were shown has changed since, so nothing was signed. Read it as it is "
                "now, then sign."
            )
        )


class FilesOutOfReach(Refusal):
    """The place where files are kept does not answer, and may do so again in a minute.

    No OSError: a file that is gone or spoilt is something else, and stays so.
    """

    def __init__(self) -> None:
        super().__init__(
            _(
                "The place where photographs and documents are kept does not answer, so this was "
                "not done. Try again in a minute; if it stays so, tell your administrator."
            )
        )


class CannotRead(Refusal):
    """A file or folder holds nothing that can be read as what it should be."""
