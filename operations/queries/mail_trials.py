"""Test mails as they went, and whether what the site sends now has been seen to arrive."""

from dataclasses import dataclass

from django.conf import settings

from operations.models import MailTrial

from .health import MAIL_FOLDER_BACKEND


def mail_server() -> str:
    """Where mails go now: the mail server's name and port, or `MailTrial.FOLDER`."""
    if settings.EMAIL_BACKEND == MAIL_FOLDER_BACKEND:
        return MailTrial.FOLDER
    return f"{settings.EMAIL_HOST}:{settings.EMAIL_PORT}"


@dataclass(frozen=True)
class MailTruth:
    """What is known of the mail that goes out now.

    Attributes
    ----------
    server : str
        Where mails go.
    last : MailTrial or None
        The last test mail by this server, without its bytes.
    arrived : MailTrial or None
        The last one by this server whose link was followed.
    """

    server: str
    last: MailTrial | None
    arrived: MailTrial | None

    @property
    def goes_to_folder(self) -> bool:
        return self.server == MailTrial.FOLDER

    @property
    def fails_now(self) -> bool:
        """Whether the last test mail was refused, though an earlier one may have arrived."""
        return self.last is not None and self.last.failed_at is not None


def mail_truth() -> MailTruth:
    """What test mails by the present server have shown, in two queries."""
    server = mail_server()
    trials = MailTrial.objects.filter(server=server).defer("raw").order_by("-asked_at", "-pk")
    arrived = trials.filter(followed_at__isnull=False).order_by("-followed_at", "-pk")
    return MailTruth(server, trials.first(), arrived.first())
