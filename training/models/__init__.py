from .courses import Attendance, ClassSession, Course, CourseRevision, Enrolment, Lesson
from .exercises import Exercise, ExerciseStep, JointType, Position, Stage
from .people import (
    FormerEmployeeNumber,
    Installation,
    Person,
    Role,
    Site,
    SiteRole,
    Stamp,
    User,
    VisionTest,
    VisionTestWithdrawal,
)
from .tablets import BadgePin, SharedTablet, TabletUse, WrongTries
from .work import Calibration, PracticeRecord, PracticeWithdrawal, Tool

__all__ = [
    "Attendance",
    "BadgePin",
    "Calibration",
    "ClassSession",
    "Course",
    "CourseRevision",
    "Enrolment",
    "Exercise",
    "ExerciseStep",
    "FormerEmployeeNumber",
    "Installation",
    "JointType",
    "Lesson",
    "Person",
    "Position",
    "PracticeRecord",
    "PracticeWithdrawal",
    "Role",
    "SharedTablet",
    "Site",
    "SiteRole",
    "Stage",
    "Stamp",
    "TabletUse",
    "Tool",
    "User",
    "VisionTest",
    "VisionTestWithdrawal",
    "WrongTries",
]
