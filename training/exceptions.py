"""The refusals this app can give, worded for the person who reads them."""


class TrainingError(Exception):
    """Something about people, classes or exercises that cannot be done as asked."""


class ProofRefused(TrainingError):
    """The signer did not prove who they are."""


class TabletRefused(TrainingError):
    """A badge and PIN, or a password, did not open a shared tablet."""
