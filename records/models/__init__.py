"""What every other app is signed with and written down in."""

from .base import Recorded
from .numbers import NumberSeries
from .removals import Removal
from .signatures import Proof, Signature
from .trail import TrailEntry, TrailHead, TrailPayload

__all__ = [
    "NumberSeries",
    "Proof",
    "Recorded",
    "Removal",
    "Signature",
    "TrailEntry",
    "TrailHead",
    "TrailPayload",
]
