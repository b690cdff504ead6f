"""What the database refuses about boards and their judgements."""

from records.models import append_only


def _signed(row: str) -> str:
    return (
        "EXISTS (SELECT 1 FROM assessments_stagesigning s "
        f"WHERE s.grading_id = {row}.grading_id AND s.stage = {row}.stage)"
    )


def _published(row: str) -> str:
    return (
        "EXISTS (SELECT 1 FROM assessments_criteriaset c "
        f"WHERE c.id = {row}.criteria_set_id AND c.published_at IS NOT NULL)"
    )


def _test_published(row: str) -> str:
    return (
        "EXISTS (SELECT 1 FROM assessments_writtentest t "
        f"WHERE t.id = {row}.test_id AND t.published_at IS NOT NULL)"
    )


def _study_over(study: str) -> str:
    return (
        f"EXISTS (SELECT 1 FROM assessments_studyclosing c WHERE c.study_id = {study}) OR "
        f"EXISTS (SELECT 1 FROM assessments_studywithdrawal w WHERE w.study_id = {study})"
    )


def declare() -> None:
    signed_grading = "EXISTS (SELECT 1 FROM assessments_stagesigning s WHERE s.grading_id = OLD.id)"
    append_only.protect(
        "assessments.Grading",
        when_update=signed_grading,
        when_delete=signed_grading,
        refusal="is signed: correct it with a new grading",
        removable=("grading", "id"),
    )
    append_only.protect(
        "assessments.Judgement",
        when_update=f"{_signed('OLD')} OR {_signed('NEW')}",
        when_delete=_signed("OLD"),
        insert_when=_signed("NEW"),
        refusal="is under a signature: correct it with a new grading",
        insert_refusal="takes no judgement of a stage that is signed",
        removable=("grading", "grading_id"),
    )
    append_only.protect(
        "assessments.CannotTell",
        when_update=(
            "OLD.taken_back_at IS NOT NULL OR NOT (NEW.id = OLD.id "
            "AND NEW.grading_id = OLD.grading_id AND NEW.criterion_id = OLD.criterion_id "
            "AND NEW.stage = OLD.stage AND NEW.asks = OLD.asks AND NEW.note = OLD.note "
            "AND NEW.recorded_at = OLD.recorded_at)"
        ),
        refusal="says what could not be told, and stays as it is",
        removable=("grading", "grading_id"),
    )
    append_only.protect("assessments.StageSigning", removable=("grading", "grading_id"))
    append_only.protect("assessments.Measurement", removable=("measurement", "id"))
    for table in ("BoardCancellation", "PurposeCorrection", "ToolWorkDecision"):
        append_only.protect(f"assessments.{table}", removable=("board", "board_id"))
    append_only.protect("assessments.PhotoSetup")
    append_only.protect("assessments.SetupQualification")
    append_only.protect("assessments.SetupRetirement")
    append_only.protect("assessments.WireTolerance")
    append_only.protect("assessments.MeasurementStudy")
    append_only.protect("assessments.StudyPhoto")
    append_only.protect("assessments.StudyGrader")
    append_only.protect(
        "assessments.StudyReading",
        insert_when=_study_over(
            "(SELECT g.study_id FROM assessments_studygrader g WHERE g.id = NEW.grader_id)"
        ),
        insert_refusal="takes no reading: the study is closed or withdrawn",
    )
    append_only.protect(
        "assessments.StudyReference",
        insert_when=_study_over("NEW.study_id"),
        insert_refusal="takes no reference value: the study is closed or withdrawn",
    )
    append_only.protect("assessments.StudyClosing")
    append_only.protect("assessments.StudyWithdrawal")
    append_only.protect(
        "assessments.Board",
        when_update="OLD.cancelled_at IS NOT NULL",
        when_delete="OLD.cancelled_at IS NOT NULL",
        refusal="is cancelled and does not change",
        removable=("board", "id"),
    )
    # What was handed in again can be taken back until somebody judges it.
    judged_again = "EXISTS (SELECT 1 FROM assessments_judgement j WHERE j.joint_id = OLD.joint_id)"
    append_only.protect(
        "assessments.Rework",
        when_update=(
            "(OLD.handed_in_at IS NOT NULL AND (NEW.handed_in_at IS NOT NULL "
            f"OR {judged_again})) OR NOT (NEW.id = OLD.id AND NEW.joint_id = OLD.joint_id "
            "AND NEW.codes = OLD.codes AND NEW.sent_by_id = OLD.sent_by_id "
            "AND NEW.reason = OLD.reason "
            "AND NEW.recorded_at = OLD.recorded_at)"
        ),
        refusal="says why a joint was sent back, and stays as it is",
        removable=("rework", "id"),
    )
    append_only.protect(
        "assessments.ReadingRequest",
        when_update=(
            "OLD.answered_at IS NOT NULL OR NOT (NEW.id = OLD.id AND NEW.board_id = OLD.board_id "
            "AND NEW.asked_by_id = OLD.asked_by_id AND NEW.reason = OLD.reason "
            "AND NEW.before = OLD.before "
            "AND NEW.recorded_at = OLD.recorded_at)"
        ),
        refusal="stays as it was asked, and as it was answered",
        removable=("board", "board_id"),
    )
    append_only.protect(
        "assessments.CriteriaSet",
        when_update=(
            "OLD.published_at IS NOT NULL AND NOT (NEW.id = OLD.id AND NEW.title = OLD.title "
            "AND NEW.revision = OLD.revision AND NEW.summary = OLD.summary "
            "AND NEW.document = OLD.document AND NEW.product_class = OLD.product_class "
            "AND NEW.by_default = OLD.by_default "
            "AND NEW.publishing_reason = OLD.publishing_reason "
            "AND COALESCE(NEW.begun_from_id, 0) = COALESCE(OLD.begun_from_id, 0) "
            "AND NEW.published_at = OLD.published_at)"
        ),
        when_delete="OLD.published_at IS NOT NULL",
        refusal="is published and does not change: make a new revision",
    )
    append_only.protect(
        "assessments.Criterion",
        when_update=f"{_published('OLD')} OR {_published('NEW')}",
        when_delete=_published("OLD"),
        insert_when=_published("NEW"),
        refusal="belongs to a published set and does not change: make a new revision",
        insert_refusal="does not join a published set: make a new revision",
    )
    append_only.protect(
        "assessments.CriterionDrawing",
        refusal="stays as it was drawn: criteria name it by its hash",
    )
    append_only.protect(
        "assessments.Photo",
        when_update=(
            "OLD.taken_back_at IS NOT NULL OR "
            "NOT (NEW.id = OLD.id AND NEW.key = OLD.key AND NEW.board_id = OLD.board_id "
            "AND NEW.original = OLD.original AND NEW.sha256 = OLD.sha256 "
            "AND NEW.sending = OLD.sending "
            "AND NEW.size_bytes = OLD.size_bytes AND NEW.recorded_at = OLD.recorded_at "
            "AND NEW.is_incomplete = OLD.is_incomplete)"
        ),
        refusal="keeps its original: add another photograph",
        removable=("photograph", "id"),
    )
    append_only.protect(
        "assessments.WrittenTest",
        when_update=(
            "OLD.published_at IS NOT NULL AND NOT (NEW.id = OLD.id AND NEW.code = OLD.code "
            "AND NEW.revision = OLD.revision AND NEW.title = OLD.title "
            "AND NEW.course_revision_id = OLD.course_revision_id AND NEW.seed = OLD.seed "
            "AND NEW.minutes = OLD.minutes AND NEW.open_book = OLD.open_book "
            "AND NEW.may_use = OLD.may_use AND NEW.pass_percent = OLD.pass_percent "
            "AND NEW.pass_basis = OLD.pass_basis AND NEW.tries = OLD.tries "
            "AND NEW.wait_days = OLD.wait_days AND NEW.another_form = OLD.another_form "
            "AND NEW.forms = OLD.forms AND NEW.counts = OLD.counts "
            "AND NEW.published_at = OLD.published_at "
            "AND NEW.publishing_reason = OLD.publishing_reason)"
        ),
        when_delete="OLD.published_at IS NOT NULL",
        refusal="is published and does not change: make a new revision",
    )
    append_only.protect(
        "assessments.Question",
        when_update=f"{_test_published('OLD')} OR {_test_published('NEW')}",
        when_delete=_test_published("OLD"),
        insert_when=_test_published("NEW"),
        refusal="belongs to a published test and does not change: make a new revision",
        insert_refusal="does not join a published test: make a new revision",
    )
    for table in (
        "Paper",
        "PaperQuestion",
        "PaperStart",
        "PaperAnswer",
        "PaperEnd",
        "PaperResult",
        "PaperWithdrawal",
    ):
        append_only.protect(f"assessments.{table}")
