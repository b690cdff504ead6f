"""Measurement studies, as pages send them."""

from collections.abc import Sequence
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from assessments.models import Criterion, Joint, Measurement, Photo, StudyPhoto
from assessments.services.measurement_studies import MOST_REPEATS
from people.forms.fields import RowsField, form_helper
from people.models import Site, User

UNITS = [
    ("", _("the usual unit of the quantity")),
    ("mm", _("millimetres")),
    ("d", _("conductor diameters, d")),
    ("D", _("overall diameters, D")),
]


class MeasuredCriterionField(forms.ModelChoiceField):
    def label_from_instance(self, criterion: Criterion) -> str:
        return f"{criterion.code} {criterion.title} ({criterion.criteria_set})"


class StudyForm(forms.Form):
    """What is measured, on which photographs, by whom and how often."""

    site = forms.ModelChoiceField(Site.objects.none(), label=_("Site"), empty_label=None)
    title = forms.CharField(
        label=_("Title"), max_length=120, help_text=_("For example: wraps, stand 2, spring.")
    )
    criterion = MeasuredCriterionField(
        Criterion.objects.none(),
        label=_("Criterion"),
        required=False,
        empty_label=_("none, only a quantity"),
        help_text=_("A criterion brings its own quantity and unit."),
    )
    quantity = forms.ChoiceField(
        label=_("Quantity"),
        required=False,
        choices=[choice for choice in Measurement.Quantity.choices if choice[0] != "scale"],
    )
    unit = forms.ChoiceField(label=_("Read in"), required=False, choices=UNITS)
    repeats = forms.IntegerField(
        label=_("Times that each photograph is marked"),
        min_value=1,
        max_value=MOST_REPEATS,
        initial=3,
        help_text=_("Three by each grader on ten photographs tell much; one tells nothing."),
    )
    photos = RowsField(
        Photo.objects.none(),
        label=_("Photographs"),
        to_field_name="key",
        error_messages={
            "required": _("Choose photographs of two joints or more."),
            "invalid_choice": _("One of the photographs is not there any more. Choose again."),
        },
    )
    graders = RowsField(
        User.objects.none(),
        label=_("Who marks"),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Choose who marks: one grader or more.")},
    )

    def __init__(
        self,
        *args: Any,
        sites: QuerySet[Site],
        photos: QuerySet[Photo],
        graders: QuerySet[User],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        for name, among in (
            ("site", sites),
            ("photos", photos),
            ("graders", graders),
            (
                "criterion",
                Criterion.objects.filter(
                    how=Criterion.How.MEASURED,
                    criteria_set__published_at__isnull=False,
                    criteria_set__retired_at__isnull=True,
                )
                .exclude(quantity__in=("", "scale"))
                .select_related("criteria_set"),
            ),
        ):
            self.fields[name].queryset = among  # type: ignore[attr-defined]
        self.helper = form_helper(
            Div("site", "title", css_class="fields-row"),
            "criterion",
            Div("quantity", "unit", css_class="fields-row"),
            "repeats",
            "graders",
        )

    def chosen(self) -> Sequence[str]:
        """The keys of the photographs that were ticked."""
        return self.data.getlist("photos") if self.is_bound else ()  # type: ignore[attr-defined]


class TurnForm(forms.Form):
    turn = forms.IntegerField(min_value=0, max_value=10_000)


class ReasonForm(forms.Form):
    """Why a study is closed, or withdrawn."""

    reason = forms.CharField(label=_("Why"), max_length=400)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("reason")


class StudyJointField(forms.ModelChoiceField):
    def label_from_instance(self, joint: Joint) -> str:
        return f"{joint.board.number} {joint}"


class ReferenceForm(forms.Form):
    """What a joint measures by a better means."""

    joint = StudyJointField(Joint.objects.none(), label=_("Joint"), empty_label=None)
    value = forms.FloatField(
        label=_("Reference value"),
        localize=True,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    expanded_uncertainty = forms.FloatField(
        label=_("Its expanded uncertainty, U = 2u"),
        localize=True,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    source = forms.CharField(
        label=_("How it was measured"),
        max_length=200,
        help_text=_("For example: section under a measuring microscope, its certificate."),
    )

    def __init__(self, *args: Any, photos: Sequence[StudyPhoto], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        among = Joint.objects.filter(pk__in={each.joint_id for each in photos})
        self.fields["joint"].queryset = (  # type: ignore[attr-defined]
            among.select_related("board", "position").order_by("board__number", "position__order")
        )
        self.helper = form_helper(
            "joint",
            Div("value", "expanded_uncertainty", css_class="fields-row"),
            "source",
        )
