"""The refusals this app can give, worded for the person who reads them."""


class AssessmentError(Exception):
    """Something about boards, photographs or gradings that cannot be done as asked."""


class NotAPhotograph(AssessmentError):
    """The file is not a photograph that can be taken in."""


class MayNotGrade(AssessmentError):
    """This user may not judge or sign this board."""


class StageNotReady(AssessmentError):
    """The stage cannot be signed yet."""


class AlreadySigned(AssessmentError):
    """The stage is signed; a correction is a new grading."""
