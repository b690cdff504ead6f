"""The refusals this app can give, worded for the person who reads them."""

from records.exceptions import Refusal


class AuditError(Refusal):
    """Something about files, work logs or the past that cannot be done as asked."""


class BundleRefused(AuditError):
    """The bundle has rows that cannot be taken in, so none was."""


class CannotImportNow(AuditError):
    """The bundle is large, and the site is served."""


class CannotCheck(AuditError):
    """The file is none that a work-log check takes."""


class CannotRecord(AuditError):
    """Work of a log cannot be recorded as asked."""


class LogChanged(CannotRecord):
    """What would be recorded is not what was shown; nothing was."""


class ListRefused(AuditError):
    """A list of people cannot be taken in or undone as asked."""


class ListChanged(ListRefused):
    """What a list would do is not what was shown; nothing was done."""


class ListStopped(ListRefused):
    """A long file was refused something on its way; what was written before stays."""


class ListTakenIn(ListRefused):
    """The list has been taken in already."""


class CannotPack(AuditError):
    """An evidence pack cannot be asked for like this."""
