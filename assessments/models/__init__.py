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
from .tool_work import ToolWorkDecision
from .written_tests import (
    Paper,
    PaperAnswer,
    PaperEnd,
    PaperQuestion,
    PaperResult,
    PaperStart,
    PaperWithdrawal,
    Question,
    WrittenTest,
)

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
    "MeasurementStudy",
    "Paper",
    "PaperAnswer",
    "PaperEnd",
    "PaperQuestion",
    "PaperResult",
    "PaperStart",
    "PaperWithdrawal",
    "Photo",
    "PhotoSetup",
    "PurposeCorrection",
    "Question",
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
    "ToolWorkDecision",
    "UndoStep",
    "WireTolerance",
    "WrittenTest",
]
