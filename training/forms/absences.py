"""When somebody is away, and how many of a line lead's people may be at once."""

from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.utils.translation import gettext_lazy as _

from people.forms.fields import DayInput, PersonField, form_helper
from people.models import Person
from people.models.people import PersonQuerySet


class AbsenceForm(forms.Form):
    person = PersonField(label=_("Person"))
    from_day = forms.DateField(label=_("First day away"), widget=DayInput)
    through_day = forms.DateField(label=_("Last day away"), widget=DayInput)

    def __init__(self, *args: Any, people: PersonQuerySet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].offer(people, "people-away")  # type: ignore[attr-defined]
        days = Div("from_day", "through_day", css_class="fields-row")
        self.helper = form_helper("person", days)


class AwayLimitForm(forms.Form):
    lead = forms.ModelChoiceField(
        Person.objects.none(),
        label=_("Line lead"),
        to_field_name="employee_number",
        empty_label=None,
    )
    people = forms.IntegerField(
        label=_("People away at once, at most"),
        min_value=0,
        max_value=999,
        required=False,
        help_text=_("Left empty, nobody limits it."),
    )

    def __init__(self, *args: Any, leads: PersonQuerySet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["lead"].queryset = leads  # type: ignore[attr-defined]
        self.helper = form_helper(Div("lead", "people", css_class="fields-row"))
