from .base import Recorded

__all__ = ["Recorded"]
