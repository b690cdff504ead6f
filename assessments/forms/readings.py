"""Sending a joint back, deciding between two graders, asking for another reading."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from assessments.models import Criterion, Judgement
from assessments.queries.effective_judgements import Disagreement, Place
from assessments.services.decisions import Decided

from .grading import ProofForm


class ReworkForm(forms.Form):
    codes = forms.MultipleChoiceField(
        label=_("Sent back for"), widget=forms.CheckboxSelectMultiple, required=False
    )
    reason = forms.CharField(
        label=_("What to do better"),
        required=False,
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("The operator reads it beside what the criteria say."),
    )

    def __init__(self, *args: Any, rejected: Sequence[Criterion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [
            (criterion.code, f"{criterion.title} ({criterion.code})") for criterion in rejected
        ]
        self.fields["codes"].choices = choices  # type: ignore[attr-defined]
        self.initial = {"codes": [code for code, _title in choices]}


class AnotherReadingForm(forms.Form):
    reason = forms.CharField(
        label=_("What you think was judged wrongly"),
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("Name the joint and the criterion. It stays beside the readings."),
    )


@dataclass(frozen=True, slots=True)
class Row:
    """One judgement to decide, with its fields."""

    disagreement: Disagreement
    outcome: forms.BoundField
    how: forms.BoundField
    note: forms.BoundField


class DecisionForm(ProofForm):
    """Every judgement on which two graders differ, and the password under the list."""

    def __init__(self, *args: Any, disagreements: Sequence[Disagreement], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.disagreements = list(disagreements)
        # The list comes first: nobody is to be taken past it to the password.
        self.fields["password"].widget.attrs.pop("autofocus", None)
        for disagreement in self.disagreements:
            name = name_of(disagreement)
            self.fields[f"{name}-outcome"] = forms.ChoiceField(
                label=_("Your judgement"),
                choices=Judgement.Outcome.choices,
                widget=forms.RadioSelect,
                error_messages={"required": _("Decide this one too.")},
            )
            how = [(Judgement.How.AT_BOARD, Judgement.How.AT_BOARD.label)]
            if disagreement.photo is not None:
                how.append((Judgement.How.PHOTOGRAPH, Judgement.How.PHOTOGRAPH.label))
            self.fields[f"{name}-how"] = forms.ChoiceField(
                label=_("How you saw it"), choices=how, initial=how[0][0]
            )
            self.fields[f"{name}-note"] = forms.CharField(
                label=_("Note"), required=False, max_length=400
            )
        self.order_fields([*(name for name in self.fields if name != "password"), "password"])

    def rows(self) -> Iterator[Row]:
        for disagreement in self.disagreements:
            name = name_of(disagreement)
            yield Row(
                disagreement, self[f"{name}-outcome"], self[f"{name}-how"], self[f"{name}-note"]
            )

    def decisions(self) -> dict[Place, Decided]:
        data = self.cleaned_data
        return {
            (disagreement.first.joint_id, disagreement.first.criterion.code): Decided(
                outcome=data[f"{name_of(disagreement)}-outcome"],
                how=data[f"{name_of(disagreement)}-how"],
                note=data[f"{name_of(disagreement)}-note"],
            )
            for disagreement in self.disagreements
        }


def name_of(disagreement: Disagreement) -> str:
    return f"p{disagreement.first.joint_id or 0}-{disagreement.first.criterion_id}"
