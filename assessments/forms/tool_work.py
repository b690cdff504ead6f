"""What is decided of boards that a tool puts in question."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from assessments.models import ToolWorkDecision
from assessments.queries.tool_work import QuestionedBoard, QuestionedWork
from people.forms.fields import form_helper


class ToolWorkForm(forms.Form):
    """Which of the boards, what becomes of them, and why.

    A tick names the board and the decision that the page showed of it, so that one made
    meanwhile is not passed over.
    """

    boards = forms.MultipleChoiceField(
        label=_("Which boards"),
        error_messages={
            "required": _("Tick at least one board."),
            "invalid_choice": _("The list has changed meanwhile. Look at it anew, then decide."),
        },
    )
    decision = forms.ChoiceField(
        label=_("What was decided"),
        choices=[("", _("choose one")), *ToolWorkDecision.Decision.choices],
    )
    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        help_text=_("Such as: the error was far smaller than the limits of what it was used for."),
        error_messages={"required": _("Say why, so that whoever reads it later understands.")},
    )

    def __init__(self, *args: Any, work: QuestionedWork, own: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.work, self.own = work, own
        self.fields["boards"].choices = [  # type: ignore[attr-defined]
            (value, value) for _each, value, _ticked in self.lines if value
        ]
        self.helper = form_helper("decision", "reason")

    @property
    def lines(self) -> list[tuple[QuestionedBoard, str, bool]]:
        """Each board with what its tick sends, empty of one's own, and whether it is ticked."""
        sent = self.data.getlist(self.add_prefix("boards")) if self.is_bound else None  # type: ignore[attr-defined]
        ticked = None if sent is None else set(sent)
        lines = []
        for each in self.work.boards:
            value = "" if each.board.person_id == self.own else tick_of(each)
            is_ticked = value in ticked if ticked is not None else each.decision is None
            lines.append((each, value, bool(value) and is_ticked))
        return lines

    def seen(self) -> dict[str, int]:
        """The boards that are ticked, each with the decision that was shown of it."""
        pairs = (value.rpartition(":") for value in self.cleaned_data["boards"])
        return {number: int(key) for number, _colon, key in pairs}

    def sentences(self) -> str:
        """What is wrong with the ticks, which stand in a table and not in a field."""
        return " ".join(str(error) for error in self.errors.get("boards", []))


def tick_of(each: QuestionedBoard) -> str:
    return f"{each.board.number}:{each.decision.pk if each.decision else 0}"
