"""Tools and their calibrations."""

from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from people.forms.fields import DayInput, PersonField, code_validator, form_helper
from people.models import Site
from people.models.people import PersonQuerySet
from training.models import Tool

RESERVED_CODES = {"new"}


class ToolForm(forms.Form):
    code = forms.CharField(
        label=_("Code"),
        max_length=24,
        validators=[code_validator],
        help_text=_("What is written on it, such as IRON-07."),
    )
    kind = forms.ChoiceField(label=_("Kind"), choices=Tool.Kind.choices)
    name = forms.CharField(label=_("Make and model"), required=False, max_length=120)
    site = forms.ModelChoiceField(Site.objects.none(), label=_("Site"), empty_label=None)
    answers_for = PersonField(
        label=_("Responsible"),
        required=False,
        help_text=_("They are told before its calibration ends. Employee number or name."),
    )

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
                Div("name", "site", css_class="fields-row"),
            ]
        else:
            for name in ("code", "kind", "site"):
                del self.fields[name]
            head = ["name"]
        self.helper = form_helper(*head, "answers_for")

    def clean_code(self) -> str:
        code = self.cleaned_data["code"]
        if code.lower() in RESERVED_CODES:
            raise forms.ValidationError(_("That word cannot be a code. Give another."))
        return code


class CalibrationForm(forms.Form):
    calibrated_on = forms.DateField(label=_("Calibrated on"), widget=DayInput)
    valid_through = forms.DateField(label=_("Good through"), widget=DayInput)
    passed = forms.TypedChoiceField(
        label=_("Result"),
        choices=[("yes", _("passed")), ("no", _("not passed"))],
        coerce=lambda answer: answer == "yes",
        initial="yes",
        widget=forms.RadioSelect,
    )
    reference = forms.CharField(label=_("Report"), required=False, max_length=80)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(
            Div("calibrated_on", "valid_through", css_class="fields-row"), "passed", "reference"
        )
