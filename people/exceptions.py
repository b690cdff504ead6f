"""The refusals this app can give, worded for the person who reads them."""

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


class ProviderRefused(PeopleError):
    """The provider did not answer, or what came back is not what was asked for."""
