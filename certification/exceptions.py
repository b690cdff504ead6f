"""The refusals this app can give, worded for the person who reads them."""


class CertificationError(Exception):
    """Something about certificates or standing that cannot be done as asked."""


class CannotRead(CertificationError):
    """A file or folder holds nothing that can be read as what it should be."""


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


class BundleRefused(CertificationError):
    """The bundle has rows that cannot be taken in, so none was."""


class CannotCheck(CertificationError):
    """The file is none that a work-log check takes."""


class CannotSendAgain(CertificationError):
    """The message was sent, withdrawn or is being tried, so there is nothing to repeat."""
