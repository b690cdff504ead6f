from .back_ups import BackUp
from .heartbeats import Heartbeat
from .mail_trials import MailTrial
from .moved_photos import MovedPhoto
from .retention import SiteRetention
from .shared_marks import SharedMark
from .verifications import Verification

__all__ = [
    "BackUp",
    "Heartbeat",
    "MailTrial",
    "MovedPhoto",
    "SharedMark",
    "SiteRetention",
    "Verification",
]
