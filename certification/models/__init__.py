from .api import ApiToken, StandingChange
from .calendars import CalendarFeed
from .certificates import (
    Certificate,
    CertificateDocument,
    CertificateEvent,
    CertificateWithdrawal,
    Proposal,
)
from .health import Heartbeat
from .hooks import HookEvent, WebHook, WebHookDelivery, WebHookTold
from .known import KnownEnd, KnownRegister, KnownSpan
from .mail_choices import MailChoice
from .reminders import Message, Reminder, SiteSweep
from .schemes import Operation, Scheme, SchemeRequirement, SchemeRevision, Scope
from .standing import StandingEnd, StandingSpan
from .work_log import WorkLogCheck

__all__ = [
    "ApiToken",
    "CalendarFeed",
    "Certificate",
    "CertificateDocument",
    "CertificateEvent",
    "CertificateWithdrawal",
    "Heartbeat",
    "HookEvent",
    "KnownEnd",
    "KnownRegister",
    "KnownSpan",
    "MailChoice",
    "Message",
    "Operation",
    "Proposal",
    "Reminder",
    "Scheme",
    "SchemeRequirement",
    "SchemeRevision",
    "Scope",
    "SiteSweep",
    "StandingChange",
    "StandingEnd",
    "StandingSpan",
    "WebHook",
    "WebHookDelivery",
    "WebHookTold",
    "WorkLogCheck",
]
