"""What the grading screen sends."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from assessments.models import CannotTell, Judgement, Photo
from assessments.services.judgements import Circumstances
from people.access import LARGEST_ROW
from people.forms.fields import PasswordField, ProofInput
from people.forms.signing import SigningForm, SigningListForm
from training.models import Tool

ASKS = {"ask_photo": CannotTell.Asks.PHOTO, "ask_board": CannotTell.Asks.BOARD}
"""Outcomes that judge nothing: the grader could not tell, and asks for something."""
ACCEPT_BY_EYE = "accept_by_eye"
BY_EYE = {
    ACCEPT_BY_EYE: Judgement.Outcome.ACCEPT,
    "reject_by_eye": Judgement.Outcome.REJECT,
}
"""Outcomes of what is measured, judged by eye for the reason that is typed."""


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
        localize=True,
        min_value=Decimal("0.5"),
        max_value=Decimal("1000"),
        max_digits=6,
        decimal_places=2,
        error_messages={
            "invalid": _("Write the magnification as a number, or leave it empty."),
            "min_value": _("A magnification is at least 0.5. Write another, or leave it empty."),
            "max_value": _("A magnification is at most 1000. Write another, or leave it empty."),
        },
    )


class JudgementForm(SeenForm):
    """One judgement; which joint and criterion it is of comes beside it.

    Parameters
    ----------
    number : str
        Of the board: its photographs may be shown, and values read on its site's tools.
    """

    outcome = forms.ChoiceField(
        choices=[*Judgement.Outcome.choices, *BY_EYE.items(), *ASKS.items()],
        error_messages={
            "required": _("Say accept, reject or not applicable: a note alone judges nothing."),
            "invalid_choice": _("Say accept, reject or not applicable."),
        },
    )
    photo = forms.CharField(required=False)
    mark_x = forms.FloatField(required=False)
    mark_y = forms.FloatField(required=False)
    note = forms.CharField(
        required=False,
        max_length=400,
        error_messages={"max_length": _("Shorten the note to 400 characters.")},
    )
    value = forms.DecimalField(
        required=False,
        localize=True,
        max_digits=12,
        decimal_places=5,
        error_messages={"invalid": _("Write the value that was read as a number.")},
    )
    uncertainty = forms.DecimalField(
        required=False,
        localize=True,
        min_value=Decimal(0),
        max_digits=12,
        decimal_places=5,
        error_messages={
            "invalid": _("Write the uncertainty as a number."),
            "min_value": _("An uncertainty is not below 0."),
        },
    )
    by_marks = forms.IntegerField(required=False, max_value=LARGEST_ROW)
    measured_times = forms.IntegerField(required=False)
    by_eye_because = forms.CharField(
        required=False,
        max_length=200,
        error_messages={"max_length": _("Shorten the reason to 200 characters.")},
    )
    tool = forms.CharField(required=False)

    def __init__(self, *args, number: str, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.number = number

    def clean_photo(self) -> Photo | None:
        key = self.cleaned_data["photo"]
        standing = Photo.every.filter(board__number=self.number, taken_back_at__isnull=True)
        photo = standing.filter(key=key).first() if key else None
        if key and photo is None:
            raise forms.ValidationError(_("That photograph is not of this board. Show another."))
        return photo

    def clean_tool(self) -> Tool | None:
        code = self.cleaned_data["tool"]
        if not code:
            return None
        in_use = Tool.objects.filter(site__boards__number=self.number, retired_on__isnull=True)
        tool = in_use.filter(code=code).first()
        if tool is None:
            raise forms.ValidationError(_("Choose a tool of this site."))
        return tool

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("outcome") in BY_EYE and not data.get("by_eye_because"):
            raise forms.ValidationError(
                _("Say why it is judged by eye: choose a reason or type one.")
            )
        photo, x, y = data.get("photo"), data.get("mark_x"), data.get("mark_y")
        if photo and x is not None and y is not None:
            inside = 0 <= x <= photo.upright_width and 0 <= y <= photo.upright_height
            if not inside:
                raise forms.ValidationError(
                    _("The mark lies outside the photograph. Mark a place on it.")
                )
        return data

    def sentences(self) -> str:
        """Everything that is wrong, as text to read."""
        return " ".join(str(error) for errors in self.errors.values() for error in errors)

    @property
    def judged(self) -> str:
        """What is said of the place, measured or by eye."""
        said = self.cleaned_data["outcome"]
        return BY_EYE.get(said, said)

    @property
    def asks(self) -> str:
        """What is asked for by somebody who could not tell; empty for a judgement."""
        return ASKS.get(self.cleaned_data["outcome"], "")

    def seen(self) -> Circumstances:
        """The circumstances of the judgement; a value makes it one made with an instrument.

        A reason to judge by eye stays on the page from one judgement to the next, so it says
        something only of what is judged so.
        """
        data = self.cleaned_data
        by_eye = data["outcome"] in BY_EYE
        photo, x, y = data["photo"], data["mark_x"], data["mark_y"]
        how = data["how"] or Judgement.How.AT_BOARD
        magnification = data["magnification"]
        if data["value"] is not None and not by_eye:
            how = Judgement.How.INSTRUMENT
        elif how == Judgement.How.PHOTOGRAPH and photo is not None:
            # Its own magnification is what was looked through, whatever stands in the field.
            magnification = photo.magnification or magnification
        marked = photo is not None and x is not None and y is not None
        return Circumstances(
            how=how,
            magnification=magnification,
            photo=photo if how == Judgement.How.PHOTOGRAPH or marked else None,
            mark=(x, y) if marked else None,
            measured=data["by_marks"] if data["value"] is None and not by_eye else None,
            measured_times=data["measured_times"],
            tool=None if by_eye else data["tool"],
            value=None if by_eye else data["value"],
            uncertainty=None if by_eye else data["uncertainty"],
            by_eye_because=data["by_eye_because"].strip() if by_eye else "",
            note=data["note"].strip(),
        )


class ProofForm(SigningForm):
    """The password once more, before a signature."""

    password = PasswordField(
        widget=ProofInput(attrs={"autocomplete": "current-password", "autofocus": True}),
        help_text=_("A signature says who judged, so you prove once more that it is you."),
    )


class StagesForm(SigningListForm):
    """Which stages are signed, and one proof for all of them."""

    password = PasswordField(
        help_text=_(
            "Once for all that is ticked. A signature says who judged, so you prove once more that "
            "it is you."
        ),
    )


class CorrectionForm(forms.Form):
    reason = forms.CharField(
        label=_("What was wrong"),
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=2000,
        help_text=_("It stands beside both gradings for as long as they are kept."),
    )
