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
from .practice import Calibration, PracticeRecord, PracticeWithdrawal, Tool
from .vision import VisionTest, VisionTestWithdrawal

__all__ = [
    "Absence",
    "Attendance",
    "AwayLimit",
    "Calibration",
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
    "VisionTest",
    "VisionTestWithdrawal",
    "WaitingPlace",
]
