"""What the database refuses about facts that standing rests on."""

from records.models import append_only

WITHDRAW_INSTEAD = "is append-only: withdraw it, and enter the right one"


def declare() -> None:
    append_only.protect("training.VisionTest", refusal=WITHDRAW_INSTEAD)
    append_only.protect("training.VisionTestWithdrawal")
    append_only.protect("training.PracticeRecord", refusal=WITHDRAW_INSTEAD)
    append_only.protect("training.PracticeWithdrawal")
