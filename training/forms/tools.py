"""Tools and their calibrations."""

from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from people.forms.fields import DayInput, PersonField, code_validator, form_helper
from people.models import Site
from people.models.people import PersonQuerySet
from records.services.documents import MOST_BYTES, Document
from training.domain.tool_fitness import Reading
from training.models import Tool
from training.queries.tool_lists import RESERVED_CODES

from .rows import RowForm

VALUE: dict[str, Any] = {
    "required": False,
    "localize": True,
    "max_digits": 12,
    "decimal_places": 5,
}


class ToolForm(forms.Form):
    code = forms.CharField(
        label=_("Code"),
        max_length=24,
        validators=[code_validator],
        help_text=_("What is written on it, such as IRON-07."),
    )
    kind = forms.ChoiceField(label=_("Kind"), choices=Tool.Kind.choices)
    name = forms.CharField(label=_("Make and model"), required=False, max_length=120)
    serial = forms.CharField(label=_("Serial number"), required=False, max_length=60)
    without_calibration = forms.BooleanField(
        label=_("Kept without calibration"),
        required=False,
        help_text=_("Of a tip or a lamp, of which nothing is measured."),
    )
    site = forms.ModelChoiceField(Site.objects.none(), label=_("Site"), empty_label=None)
    answers_for = PersonField(
        label=_("Responsible"),
        required=False,
        help_text=_("They are told before its calibration ends. Employee number or name."),
    )
    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(
        self,
        *args: Any,
        sites: QuerySet[Site],
        people: PersonQuerySet,
        tool: Tool | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["answers_for"].offer(people, "people")  # type: ignore[attr-defined]
        if tool is None:
            self.fields["site"].queryset = sites  # type: ignore[attr-defined]
            head = [
                Div("code", "kind", css_class="fields-row"),
                Div("name", "serial", css_class="fields-row"),
                "site",
            ]
            del self.fields["seen"]
        else:
            for name in ("code", "kind", "site"):
                del self.fields[name]
            head = ["seen", Div("name", "serial", css_class="fields-row")]
        self.helper = form_helper(*head, "answers_for", "without_calibration")

    def clean_code(self) -> str:
        code = self.cleaned_data["code"]
        if code.lower() in RESERVED_CODES:
            raise forms.ValidationError(_("That word cannot be a code. Give another."))
        return code


class CalibrationForm(forms.Form):
    calibrated_on = forms.DateField(label=_("Calibrated on"), widget=DayInput)
    valid_through = forms.DateField(label=_("Good through"), widget=DayInput)
    passed_as_found = forms.TypedChoiceField(
        label=_("As found"),
        required=False,
        choices=[
            ("yes", _("passed")),
            ("no", _("not passed")),
            ("", _("the certificate does not say")),
        ],
        coerce=lambda answer: answer == "yes",
        empty_value=None,
        widget=forms.RadioSelect,
        help_text=_("As it came, before anything was adjusted."),
    )
    passed = forms.TypedChoiceField(
        label=_("As left"),
        choices=[("yes", _("passed")), ("no", _("not passed"))],
        coerce=lambda answer: answer == "yes",
        initial="yes",
        widget=forms.RadioSelect,
    )
    reference = forms.CharField(label=_("Report"), required=False, max_length=80)
    document = forms.FileField(
        label=_("Certificate of the calibration"),
        required=False,
        help_text=_("PDF, JPEG, PNG, TIFF, WebP or HEIC, up to 15 MB. It is kept as it comes."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["document"].widget.attrs["accept"] = "application/pdf,image/*"
        self.helper = form_helper(
            Div("calibrated_on", "valid_through", css_class="fields-row"),
            Div("passed_as_found", "passed", css_class="fields-row"),
            "reference",
            "document",
        )

    def clean_document(self) -> Document | None:
        upload = self.cleaned_data["document"]
        return Document(upload.name, upload.read(MOST_BYTES + 1)) if upload else None


class ReadingForm(RowForm):
    """One reading of a calibration: what was read, its limits, as found and as left."""

    written = ("what", "low", "high", "found", "left")
    what = forms.CharField(label=_("What was read"), max_length=80)
    unit = forms.CharField(
        label=pgettext_lazy("of measurement", "Unit"), required=False, max_length=20
    )
    low = forms.DecimalField(label=_("At least"), **VALUE)
    high = forms.DecimalField(label=_("At most"), **VALUE)
    found = forms.DecimalField(label=_("As found"), **VALUE)
    left = forms.DecimalField(label=_("As left"), **VALUE)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("low", "high", "found", "left"):
            self.fields[name].widget.attrs["inputmode"] = "decimal"

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        low, high = data.get("low"), data.get("high")
        if low is not None and high is not None and high < low:
            self.add_error("high", _("The upper limit is below the lower one."))
        if self.is_valid_so_far("found", "left") and data["found"] is data["left"] is None:
            self.add_error("found", _("Write the value as found, as left, or both."))
        return data

    def is_valid_so_far(self, *names: str) -> bool:
        return not any(name in self.errors for name in names)

    def reading(self) -> Reading:
        return Reading(**self.cleaned_data)


class OutOfServiceForm(forms.Form):
    first_day = forms.DateField(label=_("Out of service from"), widget=DayInput)
    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        help_text=_("Such as: dropped; tip holder loose; sent to be calibrated."),
    )
    told = PersonField(
        label=_("Who is told"),
        required=False,
        help_text=_("Employee number or name. Left empty, whoever is responsible for it."),
    )

    prefix = "out"

    def __init__(self, *args: Any, people: PersonQuerySet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["told"].offer(people, "told-people")  # type: ignore[attr-defined]
        self.helper = form_helper("first_day", "reason", "told")


class BackInServiceForm(forms.Form):
    from_day = forms.DateField(label=_("In service again from"), widget=DayInput)
    note = forms.CharField(label=_("What was done"), required=False, max_length=400)

    prefix = "back"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("from_day", "note")
