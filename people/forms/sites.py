"""How a site is set up."""

import re
from typing import Any
from zoneinfo import available_timezones

from crispy_forms.layout import Div
from django import forms
from django.core.validators import validate_email
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext_lazy as _

from people.models import Site
from people.services.sites import SECOND_FACTOR_ROLES

from .fields import DayInput, PasswordField, form_helper

ADDRESS_ENDS = re.compile("[,;\\s]+")


class TimeInput(forms.TimeInput):
    input_type = "time"

    def __init__(self, attrs: dict | None = None) -> None:
        super().__init__(attrs, format="%H:%M")


class AddressesField(forms.CharField):
    """E-mail addresses with commas between, as a list in which each stands once."""

    def prepare_value(self, value: Any) -> Any:
        return ", ".join(value) if isinstance(value, list) else value

    def to_python(self, value: Any) -> Any:
        written = super().to_python(value) or ""
        return list(dict.fromkeys(ADDRESS_ENDS.sub(" ", written).split()))

    def validate(self, value: Any) -> None:
        for address in value:
            try:
                validate_email(address)
            except forms.ValidationError as error:
                raise forms.ValidationError(
                    _("%(address)s is not an e-mail address. Write them with commas between."),
                    params={"address": address},
                ) from error

    def run_validators(self, value: Any) -> None:
        """Each address was looked at."""


class SiteForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=80)
    number_prefix = forms.RegexField(
        r"^[A-Z]{1,4}\Z",
        label=_("Prefix"),
        error_messages={"invalid": _("One to four capital letters.")},
        help_text=_("Begins every number given out here, for ever."),
    )
    time_zone = forms.ChoiceField(label=_("Time zone"), choices=[])
    address = forms.CharField(
        label=_("Where to go for a class or a test"), required=False, max_length=200
    )
    contact = forms.CharField(
        label=_("Whom to ask"),
        required=False,
        max_length=200,
        help_text=_("An office or a telephone number; reminders name it before the instructors."),
    )
    working_days = forms.TypedMultipleChoiceField(
        label=_("Working days"),
        choices=[(number + 1, name) for number, name in WEEKDAYS.items()],
        coerce=int,
        initial=[1, 2, 3, 4, 5],
        widget=forms.CheckboxSelectMultiple,
    )
    work_starts = forms.TimeField(label=_("Work starts"), widget=TimeInput)
    work_ends = forms.TimeField(label=_("Work ends"), widget=TimeInput)
    send_hour = forms.TypedChoiceField(
        label=_("Reminders go out at"),
        choices=[(hour, f"{hour:02d}:00") for hour in range(24)],
        coerce=int,
        help_text=_("In the site’s own time."),
    )
    reminders_start_on = forms.DateField(
        label=_("First day of reminders"),
        required=False,
        widget=DayInput,
        help_text=_("Nobody is written to about what ended before it."),
    )
    proposal_days = forms.IntegerField(
        label=_("Quality is written to about a proposal after"),
        min_value=0,
        max_value=60,
        help_text=_("Days that it has waited, 0 to 60; 0: never. Once for each proposal."),
    )
    lock_minutes = forms.IntegerField(
        label=_("Shared tablets lock after"),
        min_value=1,
        max_value=120,
        help_text=_("Minutes without a tap, 1 to 120."),
    )
    criteria_by_two = forms.BooleanField(
        label=_("A second person confirms criteria too"),
        required=False,
        help_text=_(
            "Sets of criteria belong to the organisation: once one site asks for it, no criterion"
            " is published that two people have not read in its document."
        ),
    )
    trail_head_to = AddressesField(
        label=_("The end of the records is mailed to"),
        required=False,
        help_text=_(
            "E-mail addresses with commas between, out of reach of whoever runs this site: a"
            " notary’s, a customer’s. One mail a day; what they keep shows whether records were"
            " cut or written anew."
        ),
    )

    def __init__(self, *args: Any, site: Site | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["time_zone"].choices = [  # type: ignore[attr-defined]
            (name, name) for name in sorted(available_timezones())
        ]
        head: list[Any] = ["name"]
        if site is None:
            head = [Div("name", "number_prefix", css_class="fields-row")]
        else:
            del self.fields["number_prefix"]
        self.helper = form_helper(
            *head,
            "time_zone",
            "address",
            "contact",
            "working_days",
            Div("work_starts", "work_ends", css_class="fields-row"),
            Div("send_hour", "reminders_start_on", css_class="fields-row"),
            "proposal_days",
            "lock_minutes",
            "criteria_by_two",
            "trail_head_to",
        )


class SignInPolicyForm(forms.Form):
    """What a site asks of those who sign in there."""

    second_factor_roles = forms.MultipleChoiceField(
        label=_("Roles that need a second factor"),
        required=False,
        choices=[(role.value, role.label) for role in SECOND_FACTOR_ROLES],
        widget=forms.CheckboxSelectMultiple,
    )
    second_factor_signs = forms.BooleanField(
        label=_("Signatures ask for it too"),
        required=False,
        help_text=_("Of everybody here who has one, beside the password."),
    )
    shown = forms.CharField(widget=forms.HiddenInput)
    reason = forms.CharField(label=_("Why"), max_length=400)
    password = PasswordField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(
            "second_factor_roles", "second_factor_signs", "shown", "reason", "password"
        )
