"""What entries of the trail and signatures are about: words that stay whatever the code becomes.

A record names the kind of thing it is about in one of these words. They are hashed into the
trail and stand in files that leave the house, so a word is never changed and never given to
another kind of thing; a model may be renamed or moved, and then its line here follows.
"""

KIND_OF_MODEL = {
    # people
    "Installation": "installation",
    "Site": "site",
    "Person": "person",
    "SiteMembership": "site-membership",
    "NameChange": "name-change",
    "LineLeadChange": "line-lead-change",
    "Return": "return",
    "User": "sign-in",
    "Stamp": "stamp",
    "SharedTablet": "shared-tablet",
    # training
    "Course": "course",
    "CourseRevision": "course-revision",
    "Exercise": "exercise",
    "ClassSession": "class",
    "Room": "room",
    "Tool": "tool",
    "Calibration": "calibration",
    "ToolOutOfService": "tool-out-of-service",
    "VisionTest": "vision-test",
    "PracticeRecord": "practice",
    "WorkReport": "work-report",
    # assessments
    "CriteriaSet": "criteria-set",
    "Criterion": "criterion",
    "CriterionDrawing": "criterion-drawing",
    "ExerciseCriteria": "exercise-criteria",
    "Board": "board",
    "PurposeCorrection": "purpose-correction",
    "Rework": "rework",
    "DestructiveCheck": "destructive-check",
    "ToolWorkDecision": "tool-work-decision",
    "Photo": "photograph",
    "Measurement": "measurement",
    "PhotoSetup": "photo-setup",
    "SetupQualification": "photo-setup-qualification",
    "SetupRetirement": "photo-setup-retirement",
    "WireTolerance": "wire-tolerance",
    "MeasurementStudy": "measurement-study",
    "StudyReading": "measurement-study-reading",
    "StudyReference": "measurement-study-reference",
    "StudyClosing": "measurement-study-closing",
    "StudyWithdrawal": "measurement-study-withdrawal",
    "Grading": "grading",
    "ReadingRequest": "reading-request",
    "CannotTell": "cannot-tell",
    "WrittenTest": "written-test",
    "Paper": "test-paper",
    "PaperStart": "test-paper-start",
    "PaperAnswer": "test-paper-answer",
    "PaperEnd": "test-paper-end",
    "PaperResult": "test-paper-result",
    "PaperWithdrawal": "test-paper-withdrawal",
    # certification
    "Scope": "scope",
    "Operation": "operation",
    "SchemeRevision": "scheme-revision",
    "Proposal": "proposal",
    "Certificate": "certificate",
    "CertificateEvent": "certificate-event",
    "CertificateName": "certificate-name",
    "SigningKey": "signing-key",
    "ClassPlan": "class-plan",
    # audit
    "WorkLogCheck": "work-log-check",
    "PeopleList": "people-list",
    "EvidencePack": "evidence-pack",
    # reminders
    "Message": "message",
    # interfaces
    "ApiToken": "api-token",
    "WebHook": "web-hook",
    "WebHookDelivery": "web-hook-delivery",
    # operations
    "MailTrial": "test-mail",
    # records
    "Signature": "signature",
    "TrailEntry": "trail-entry",
}
REGISTER_FILE = "register-file"
"""An earlier register as files, which is no row of a table."""

KINDS = frozenset(KIND_OF_MODEL.values()) | {REGISTER_FILE}


def kind_of(model_name: str) -> str:
    """The word for a model's rows.

    Parameters
    ----------
    model_name : str
        The name of the class, without its app: ``"Person"``.

    Raises
    ------
    ValueError
        If the table has no word for it.

    Examples
    --------
    >>> kind_of("User")
    'sign-in'
    """
    try:
        return KIND_OF_MODEL[model_name]
    except KeyError:
        raise ValueError(
            f"{model_name} has no word in the records' table of kinds: give it one there."
        ) from None
