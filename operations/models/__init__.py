from .heartbeats import Heartbeat
from .verifications import Verification

__all__ = ["Heartbeat", "Verification"]
