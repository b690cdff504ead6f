"""What the database refuses about facts that standing rests on."""

from records.models import append_only

WITHDRAW_INSTEAD = "is append-only: withdraw it, and enter the right one"
SAID_OF_EXERCISES = (
    *("id", "code", "revision", "title", "summary", "purpose", "drawing", "tools", "cautions"),
    *("stages", "allowed_rejects", "pass_mark", "rework_allowed", "graders", "alloy", "source"),
    *("photographs_wanted", "publishing_reason", "published_at", "recorded_at"),
)
"""What stays of a published exercise; its place in the list and that it retires do not."""


def _published(row: str) -> str:
    return (
        "EXISTS (SELECT 1 FROM training_exercise e "
        f"WHERE e.id = {row}.exercise_id AND e.published_at IS NOT NULL)"
    )


def declare() -> None:
    test, practice = ("vision-test", "id"), ("practice", "id")
    append_only.protect("training.VisionTest", refusal=WITHDRAW_INSTEAD, removable=test)
    append_only.protect(
        "training.VisionTestWithdrawal", removable=("vision-test", "vision_test_id")
    )
    append_only.protect("training.PracticeRecord", refusal=WITHDRAW_INSTEAD, removable=practice)
    append_only.protect("training.PracticeWithdrawal", removable=("practice", "practice_id"))
    append_only.protect("training.Calibration", refusal=WITHDRAW_INSTEAD)
    append_only.protect("training.CalibrationWithdrawal")
    append_only.protect("training.CalibrationDocument")
    append_only.protect("training.ToolOutOfService")
    append_only.protect("training.ToolBackInService")
    append_only.protect("training.WorkReport", removable=("work-report", "id"))
    append_only.protect("training.WorkReportDecision", removable=("work-report", "report_id"))
    same = " AND ".join(f"NEW.{name} = OLD.{name}" for name in SAID_OF_EXERCISES)
    append_only.protect(
        "training.Exercise",
        when_update=f"OLD.published_at IS NOT NULL AND NOT ({same})",
        when_delete="OLD.published_at IS NOT NULL",
        refusal="is published and does not change: make a new revision",
    )
    for part in ("Position", "ExerciseStep"):
        append_only.protect(
            f"training.{part}",
            when_update=f"{_published('OLD')} OR {_published('NEW')}",
            when_delete=_published("OLD"),
            insert_when=_published("NEW"),
            refusal="belongs to a published exercise and does not change: make a new revision",
            insert_refusal="does not join a published exercise: make a new revision",
        )
