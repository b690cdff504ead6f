"""What is marked on a photograph, as a page sends it."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from assessments.domain.geometry import MARKS, Across, Quantity, Winding
from assessments.models import Measurement, Photo
from assessments.services.found_marks import FINDERS
from assessments.services.measuring import SIZE_KINDS, KnownSize

LONGEST = 25  # marks of one kind


class MeasuringForm(forms.Form):
    """One quantity with its marks.

    Marks come as two lists for each kind, ``edge_x`` and ``edge_y``, in pixels of the upright
    photograph; a pair of which both are empty is left out.

    Parameters
    ----------
    photo : Photo
    """

    quantity = forms.ChoiceField(choices=Measurement.Quantity.choices)
    mark_uncertainty_px = forms.FloatField(
        label=_("Uncertainty of a mark, pixels"),
        required=False,
        min_value=0.05,
        max_value=100,
        error_messages={
            "min_value": _("A mark is uncertain by 0.05 pixels at least."),
            "max_value": _("A mark so uncertain measures nothing: 100 pixels at most."),
        },
    )
    winding = forms.ChoiceField(choices=[(choice, choice) for choice in Winding], required=False)
    full_turns = forms.TypedChoiceField(choices=[(0, "0"), (1, "1")], coerce=int, required=False)
    across = forms.ChoiceField(choices=[(choice, choice) for choice in Across], required=False)
    unit = forms.ChoiceField(
        choices=[(choice, choice) for choice in ("mm", "d", "D", "px")], required=False
    )
    size_mm = forms.FloatField(
        required=False,
        min_value=0.001,
        max_value=10000,
        error_messages={"invalid": _("Write the known size in millimetres.")},
    )
    size_half_mm = forms.FloatField(
        required=False,
        max_value=1000,
        error_messages={
            "invalid": _("Write by how much the known size may be off, in millimetres.")
        },
    )
    size_kind = forms.ChoiceField(choices=list(SIZE_KINDS.items()), required=False)
    certificate = forms.CharField(
        required=False,
        max_length=120,
        error_messages={"max_length": _("Shorten the certificate’s name to 120 characters.")},
    )
    shown_width_px = forms.FloatField(required=False, min_value=1, max_value=1_000_000)
    found = forms.MultipleChoiceField(
        choices=[(kind, kind) for _quantity, kind in FINDERS], required=False
    )

    def __init__(self, *args: Any, photo: Photo, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.photo = photo

    def marks_sent(self) -> dict[str, list[list[str]]]:
        """The marks as they were written, to be shown again after a refusal."""
        quantity = self.data.get("quantity", "")
        if quantity not in Quantity.__members__.values():
            return {}
        sent = {}
        for kind in MARKS[Quantity(quantity)]:
            xs, ys = (self._list(f"{kind.name}_{axis}")[:LONGEST] for axis in "xy")
            sent[kind.name] = [[x, y] for x, y in zip(xs, ys, strict=False) if x or y]
        return sent

    def _list(self, name: str) -> list[str]:
        return [text.strip() for text in self.data.getlist(name)]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        marks = {}
        try:
            for name, points in self.marks_sent().items():
                marks[name] = [[float(x), float(y)] for x, y in points]
        except ValueError as error:
            raise forms.ValidationError(_("A mark needs two numbers, x and y.")) from error
        return data | {"marks": marks}

    def size(self) -> KnownSize | None:
        """What the scale is taken from; None where no size is given."""
        data = self.cleaned_data
        if data["quantity"] != Quantity.SCALE or data["size_mm"] is None:
            return None
        return KnownSize(
            mm=data["size_mm"],
            half_mm=data["size_half_mm"],
            kind=data["size_kind"] or "other",
            certificate=data["certificate"],
        )


class FindingForm(forms.Form):
    """Clicks near an edge that marks are to be found on; x and y as two lists of one length."""

    quantity = forms.ChoiceField(choices=Measurement.Quantity.choices)
    kind = forms.CharField(max_length=16)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        xs, ys = (self.data.getlist(name)[:2] for name in "xy")  # type: ignore[attr-defined]
        try:
            clicks = [(float(x), float(y)) for x, y in zip(xs, ys, strict=True)]
        except ValueError as error:
            raise forms.ValidationError(_("A mark needs two numbers, x and y.")) from error
        return data | {"clicks": clicks}
