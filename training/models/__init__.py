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
from .work_reports import WorkReport, WorkReportDecision

__all__ = [
    "Attendance",
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
    "WorkReport",
    "WorkReportDecision",
]
