"""The refusals this app can give, worded for the person who reads them."""

from django.utils.translation import gettext as _

from records.exceptions import Refusal


class PeopleError(Refusal):
    """Something about people, sites or sign-ins that cannot be done as asked."""


class ProofRefused(PeopleError):
    """The signer did not prove who they are."""


class WrongPassword(ProofRefused):
    """The password is not the signer's, or proves nothing."""


class TriedTooOften(ProofRefused):
    """Too many tries were wrong, so that this one was not looked at."""


class TabletRefused(PeopleError):
    """A badge and PIN, or a password, did not open a shared tablet."""


class PrintedPinGiven(TabletRefused):
    """The PIN is one that others have seen on paper: it only leads to choosing another."""

    def __init__(self, code_id: int) -> None:
        super().__init__(_("This PIN was printed for you. Choose your own to go on."))
        self.code_id = code_id


class ProviderRefused(PeopleError):
    """The provider did not answer, or what came back is not what was asked for."""
