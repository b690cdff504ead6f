from .boards import Board, BoardOutcome, DestructiveCheck, Joint
from .criteria import CriteriaSet, Criterion
from .grading import Grading, Judgement, StageSigning, UndoStep
from .measuring import Measurement
from .photos import Photo, Rendition

__all__ = [
    "Board",
    "BoardOutcome",
    "CriteriaSet",
    "Criterion",
    "DestructiveCheck",
    "Grading",
    "Joint",
    "Judgement",
    "Measurement",
    "Photo",
    "Rendition",
    "StageSigning",
    "UndoStep",
]
