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
