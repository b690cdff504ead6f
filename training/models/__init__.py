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
from .places import OtherInstructor, Room
from .practice import Calibration, PracticeRecord, PracticeWithdrawal, Tool
from .vision import VisionTest, VisionTestWithdrawal

__all__ = [
    "Attendance",
    "Calibration",
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
]
