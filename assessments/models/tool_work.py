"""What was decided of boards that were made or judged with a tool found out of its limits."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from records.models import Recorded
from training.models import Calibration

from .boards import Board


class ToolWorkDecision(Recorded):
    """What was decided of a board because of a calibration; the last one counts."""

    class Decision(models.TextChoices):
        STANDS = "stands", _("stands as it was judged")
        JUDGE_AGAIN = "judge_again", _("is judged again")
        MAKE_AGAIN = "make_again", _("is made again")

    calibration = models.ForeignKey(Calibration, models.PROTECT, related_name="work_decisions")
    board = models.ForeignKey(Board, models.PROTECT, related_name="tool_work_decisions")
    decision = models.CharField(_("decision"), max_length=16, choices=Decision.choices)
    reason = models.CharField(_("reason"), max_length=400)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(reason=""), name="tool_work_decision_says_why"
            )
        ]

    def __str__(self) -> str:
        return f"{self.board}: {self.decision}"
