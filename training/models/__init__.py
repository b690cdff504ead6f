from .absences import Absence, AwayLimit
from .courses import (
    Attendance,
    ClassSession,
    Course,
    CourseRevision,
    Enrolment,
    Lesson,
    SessionDay,
)
from .exercises import Exercise, ExerciseStep, JointType, Position, Stage
from .places import ClassLetter, OtherInstructor, Room, WaitingPlace
from .practice import PracticeRecord, PracticeWithdrawal
from .tools import (
    Calibration,
    CalibrationDocument,
    CalibrationWithdrawal,
    Tool,
    ToolBackInService,
    ToolOutOfService,
)
from .vision import VisionTest, VisionTestWithdrawal
from .work_reports import WorkReport, WorkReportDecision

__all__ = [
    "Absence",
    "Attendance",
    "AwayLimit",
    "Calibration",
    "CalibrationDocument",
    "CalibrationWithdrawal",
    "ClassLetter",
    "ClassSession",
    "Course",
    "CourseRevision",
    "Enrolment",
    "Exercise",
    "ExerciseStep",
    "JointType",
    "Lesson",
    "OtherInstructor",
    "Position",
    "PracticeRecord",
    "PracticeWithdrawal",
    "Room",
    "SessionDay",
    "Stage",
    "Tool",
    "ToolBackInService",
    "ToolOutOfService",
    "VisionTest",
    "VisionTestWithdrawal",
    "WaitingPlace",
    "WorkReport",
    "WorkReportDecision",
]
