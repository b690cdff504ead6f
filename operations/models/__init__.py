from .heartbeats import Heartbeat
from .mail_trials import MailTrial
from .verifications import Verification

__all__ = ["Heartbeat", "MailTrial", "Verification"]
