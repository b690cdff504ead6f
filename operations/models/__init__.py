from .heartbeats import Heartbeat

__all__ = ["Heartbeat"]
