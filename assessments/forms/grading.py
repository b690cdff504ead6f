"""What the grading screen sends."""

from decimal import Decimal

from django import forms
from django.utils.translation import gettext_lazy as _

from assessments.models import Board, Judgement, Photo
from assessments.services.grading import Circumstances
from training.models import Tool


class SeenForm(forms.Form):
    """How the grader sees the board: in the hand, or on the photograph shown."""

    how = forms.ChoiceField(
        choices=[
            (Judgement.How.AT_BOARD, _("Board in hand")),
            (Judgement.How.PHOTOGRAPH, _("Photograph")),
        ],
        required=False,
    )
    magnification = forms.DecimalField(
        label=_("Magnification"),
        required=False,
        min_value=Decimal("0.5"),
        max_value=Decimal("1000"),
        max_digits=6,
        decimal_places=2,
    )


class JudgementForm(SeenForm):
    """One judgement; which joint and criterion it is of comes beside it."""

    outcome = forms.ChoiceField(choices=Judgement.Outcome.choices)
    photo = forms.ModelChoiceField(Photo.objects.none(), required=False, to_field_name="key")
    mark_x = forms.FloatField(required=False)
    mark_y = forms.FloatField(required=False)
    note = forms.CharField(required=False, max_length=400)
    value = forms.DecimalField(required=False, max_digits=12, decimal_places=5)
    uncertainty = forms.DecimalField(
        required=False, min_value=Decimal(0), max_digits=12, decimal_places=5
    )
    tool = forms.ModelChoiceField(Tool.objects.none(), required=False, to_field_name="code")

    def __init__(self, *args, board: Board, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["photo"].queryset = Photo.objects.filter(board=board)  # type: ignore[attr-defined]
        self.fields["tool"].queryset = Tool.objects.filter(  # type: ignore[attr-defined]
            site=board.site_id, retired_on__isnull=True
        )

    def seen(self) -> Circumstances:
        """The circumstances of the judgement; a value makes it one made with an instrument."""
        data = self.cleaned_data
        photo = data["photo"]
        how = data["how"] or Judgement.How.AT_BOARD
        if data["value"] is not None:
            how = Judgement.How.INSTRUMENT
        x, y = data["mark_x"], data["mark_y"]
        marked = photo is not None and x is not None and y is not None
        return Circumstances(
            how=how,
            magnification=data["magnification"],
            photo=photo if how == Judgement.How.PHOTOGRAPH or marked else None,
            mark=(x, y) if marked else None,
            tool=data["tool"],
            value=data["value"],
            uncertainty=data["uncertainty"],
            note=data["note"].strip(),
        )


class ProofForm(forms.Form):
    """The password once more, before a signature."""

    password = forms.CharField(
        label=_("Your password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        help_text=_("A signature says who judged, so you prove once more that it is you."),
    )


class CorrectionForm(forms.Form):
    reason = forms.CharField(
        label=_("What was wrong"),
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=2000,
        help_text=_("It stands beside both gradings for as long as they are kept."),
    )
