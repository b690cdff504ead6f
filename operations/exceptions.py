"""The refusals this app can give, worded for the person who reads them."""

from records.exceptions import Refusal


class OperationsError(Refusal):
    """Something about running the site that cannot be done as asked."""


class BucketOutOfReach(OperationsError):
    """The bucket in which several machines keep their files does not answer as it has to."""


class HalfShared(OperationsError):
    """A machine has another key or another folder than the others of its site."""


class TimeStampRefused(OperationsError):
    """The time-stamp server gave no stamp that fits what it was asked for."""


class DatabaseOfAnotherVersion(OperationsError):
    """The database went through migrations that this version does not have."""


class MigrationsWaitInVain(OperationsError):
    """A table that has to be changed was in use all the time."""


class TrialRefused(OperationsError):
    """A test mail is not sent now."""


class LinkIsOver(OperationsError):
    """The link of a test mail is too old, or was not copied whole."""


class BackUpRefused(OperationsError):
    """A back-up is not made as asked, and nothing of it is left."""


class BackUpsOutOfReach(BackUpRefused):
    """The bucket of back-ups does not answer as it has to; of a restore nothing is left either."""


class RestoreRefused(OperationsError):
    """An archive is not restored, and the site is as empty as it was."""


class ShownOtherRules(OperationsError):
    """How long things are kept was changed since the page was shown."""
