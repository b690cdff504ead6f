from .back_ups import BackUp
from .heartbeats import Heartbeat
from .mail_trials import MailTrial
from .verifications import Verification

__all__ = ["BackUp", "Heartbeat", "MailTrial", "Verification"]
