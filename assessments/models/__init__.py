from .boards import (
    Board,
    BoardCancellation,
    BoardOutcome,
    DestructiveCheck,
    Joint,
    PurposeCorrection,
    Rework,
)
from .criteria import CriteriaSet, Criterion, CriterionDrawing, ExerciseCriteria
from .grading import CannotTell, Grading, Judgement, ReadingRequest, StageSigning, UndoStep
from .measuring import Measurement
from .photo_setups import PhotoSetup, SetupQualification, SetupRetirement, WireTolerance
from .photos import Photo, Rendition

__all__ = [
    "Board",
    "BoardCancellation",
    "BoardOutcome",
    "CannotTell",
    "CriteriaSet",
    "Criterion",
    "CriterionDrawing",
    "DestructiveCheck",
    "ExerciseCriteria",
    "Grading",
    "Joint",
    "Judgement",
    "Measurement",
    "Photo",
    "PhotoSetup",
    "PurposeCorrection",
    "ReadingRequest",
    "Rendition",
    "Rework",
    "SetupQualification",
    "SetupRetirement",
    "StageSigning",
    "UndoStep",
    "WireTolerance",
]
