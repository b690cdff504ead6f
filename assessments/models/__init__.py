from .boards import Board, BoardOutcome, DestructiveCheck, Joint, Rework
from .criteria import CriteriaSet, Criterion, CriterionDrawing, ExerciseCriteria
from .grading import CannotTell, Grading, Judgement, ReadingRequest, StageSigning, UndoStep
from .measuring import Measurement
from .photo_setups import PhotoSetup, SetupQualification, SetupRetirement, WireTolerance
from .photos import Photo, Rendition

__all__ = [
    "Board",
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
    "ReadingRequest",
    "Rendition",
    "Rework",
    "SetupQualification",
    "SetupRetirement",
    "StageSigning",
    "UndoStep",
    "WireTolerance",
]
