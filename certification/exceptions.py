"""The refusals this app can give, worded for the person who reads them."""

from records.exceptions import Refusal


class CertificationError(Refusal):
    """Something about certificates or standing that cannot be done as asked."""


class RequirementsNotMet(CertificationError):
    """The scheme asks for something that is not there on that day."""


class MayNotCertify(CertificationError):
    """This user may not propose, issue or change this certificate."""


class NothingToPrint(CertificationError):
    """What the paper would say is not so today."""


class NothingToStop(CertificationError):
    """Every certificate that the act could touch had ended or been revoked already."""


class AlreadyDecided(CertificationError):
    """Somebody decided the proposal first."""


class ChangedMeanwhile(CertificationError):
    """Somebody else changed a scope, operation or draft since it was shown.

    Attributes
    ----------
    now : dict of str to str
        What stands there now, by field, where it differs from what was shown.
    """

    def __init__(self, text: str, now: dict[str, str] | None = None) -> None:
        super().__init__(text)
        self.now = now or {}


class KeyNotHere(CertificationError):
    """The private half of the key that signs is not on this machine."""
