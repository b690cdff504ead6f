from .boards import Board, BoardOutcome, DestructiveCheck, Joint, Rework
from .criteria import CriteriaSet, Criterion
from .grading import CannotTell, Grading, Judgement, ReadingRequest, StageSigning, UndoStep
from .measurement_studies import (
    MeasurementStudy,
    StudyClosing,
    StudyGrader,
    StudyPhoto,
    StudyReading,
    StudyReference,
    StudyWithdrawal,
)
from .measuring import Measurement
from .photo_setups import PhotoSetup, SetupQualification, SetupRetirement, WireTolerance
from .photos import Photo, Rendition

__all__ = [
    "Board",
    "BoardOutcome",
    "CannotTell",
    "CriteriaSet",
    "Criterion",
    "DestructiveCheck",
    "Grading",
    "Joint",
    "Judgement",
    "Measurement",
    "MeasurementStudy",
    "Photo",
    "PhotoSetup",
    "ReadingRequest",
    "Rendition",
    "Rework",
    "SetupQualification",
    "SetupRetirement",
    "StageSigning",
    "StudyClosing",
    "StudyGrader",
    "StudyPhoto",
    "StudyReading",
    "StudyReference",
    "StudyWithdrawal",
    "UndoStep",
    "WireTolerance",
]
