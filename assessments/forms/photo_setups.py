"""Photo set-ups and a site's wire, as pages send them."""

from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from assessments.domain.view import Bounds
from assessments.models import PhotoSetup
from assessments.services.photo_setups import Reading
from people.forms.fields import DayInput, form_helper
from people.models import Site

ROWS = 6  # readings that a page has room for


def _figure(label: Any, help_text: Any = "") -> forms.FloatField:
    return forms.FloatField(
        label=label,
        help_text=help_text,
        localize=True,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        error_messages={"invalid": _("Write a number.")},
    )


class SetupForm(forms.Form):
    """How photographs are taken, and what holds for every one of them."""

    site = forms.ModelChoiceField(Site.objects.none(), label=_("Site"), empty_label=None)
    name = forms.CharField(
        label=_("Name"), max_length=80, help_text=_("For example: stand 2, camera from above.")
    )
    kind = forms.ChoiceField(label=_("Kind"), choices=PhotoSetup.Kind.choices)
    tilt_deg = _figure(
        _("Tilt at most, degrees"), _("Between the picture and the plane that is measured.")
    )
    distance_mm = _figure(_("Distance at least, mm"), _("From the lens to the work."))
    depth_mm = _figure(
        _("Depth at most, mm"),
        _("From the measured plane to that of the scale, or to the top of a post."),
    )
    relief_mm = _figure(
        _("Relief at most, mm"), _("By how much single marks may lie above or below their plane.")
    )
    distortion_percent = _figure(
        _("Distortion at most, %"),
        _("How far the lens moves a point in the corner, of its way from the middle."),
    )
    field_mm = _figure(
        _("Width of the picture at least, mm"),
        _("What of the work it shows from left to right, at its closest."),
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        self.helper = form_helper(
            "name",
            Div("site", "kind", css_class="fields-row"),
            Div("tilt_deg", "distance_mm", css_class="fields-row"),
            Div("depth_mm", "relief_mm", css_class="fields-row"),
            Div("distortion_percent", "field_mm", css_class="fields-row"),
        )

    def bounds(self) -> Bounds:
        data = self.cleaned_data
        return Bounds(
            tilt_deg=data["tilt_deg"],
            depth_mm=data["depth_mm"],
            relief_mm=data["relief_mm"],
            distance_mm=data["distance_mm"],
            distortion=data["distortion_percent"] / 100,
            field_mm=data["field_mm"],
        )


class QualificationForm(forms.Form):
    """A graticule photographed at known tilts, and what was read of it.

    Readings come as three lists, ``tilt_deg``, ``true_mm`` and ``read_mm``; a row of which all
    are empty is left out.
    """

    done_on = forms.DateField(label=_("Done on"), widget=DayInput)
    graticule = forms.CharField(
        label=_("Graticule and its certificate"),
        max_length=160,
        help_text=_("Its own uncertainty should be small beside the bounds."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(Div("done_on", "graticule", css_class="fields-row"))

    def rows(self) -> list[tuple[str, str, str]]:
        """The readings as they were written, and empty rows to fill the page."""
        columns = [
            [text.strip() for text in self.data.getlist(name)]  # type: ignore[attr-defined]
            if self.is_bound
            else []
            for name in ("tilt_deg", "true_mm", "read_mm")
        ]
        rows = [row for row in zip(*columns, strict=False) if any(row)]
        return rows + [("", "", "")] * max(ROWS - len(rows), 0)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        try:
            data["readings"] = [
                Reading(*(float(text.replace(",", ".")) for text in row))
                for row in self.rows()
                if any(row)
            ]
        except ValueError as error:
            raise forms.ValidationError(
                _("A reading is three numbers: its tilt, what is true and what was read, in mm.")
            ) from error
        return data


class RetirementForm(forms.Form):
    reason = forms.CharField(label=_("Why it is taken out of use"), max_length=400)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("reason")


class WireToleranceForm(forms.Form):
    """By how much the wire that a site uses may differ from its nominal diameters."""

    wire_site = forms.ModelChoiceField(Site.objects.none(), label=_("Site"), empty_label=None)
    conductor_percent = _figure(_("Over the strands, ± %"))
    overall_percent = _figure(_("Over the insulation, ± %"))
    source = forms.CharField(
        label=_("Where the figures come from"),
        max_length=200,
        help_text=_("The wire’s own specification, or what was measured of it, and when."),
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["wire_site"].queryset = sites  # type: ignore[attr-defined]
        self.helper = form_helper(
            "wire_site",
            Div("conductor_percent", "overall_percent", css_class="fields-row"),
            "source",
        )


class ChooseSetupForm(forms.Form):
    """In which set-up a photograph was taken; an empty choice is by hand."""

    setup = forms.ModelChoiceField(PhotoSetup.objects.none(), required=False)

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["setup"].queryset = (  # type: ignore[attr-defined]
            PhotoSetup.objects.in_use().filter(site=site)
        )
        self.fields["setup"].error_messages["invalid_choice"] = _(
            "That set-up is out of use or another site’s. Choose another."
        )
