from .courses import Attendance, ClassSession, Course, CourseRevision, Enrolment, Lesson
from .exercises import Exercise, ExerciseStep, JointType, Position, Stage
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
    "Position",
    "PracticeRecord",
    "PracticeWithdrawal",
    "Stage",
    "Tool",
    "VisionTest",
    "VisionTestWithdrawal",
]
