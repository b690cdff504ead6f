"""Who is put in a class, as ticked in a list elsewhere, and in which."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from people.models import Person
from people.models.people import PersonQuerySet
from training.models import ClassSession

MOST_PLACED = 200


def people_named(data: QueryDict, people: PersonQuerySet) -> list[Person]:
    """Everybody whose employee number is among those sent, once each, by name.

    A number that nobody of these people has is left out: a tick can be no other than a page's.
    """
    numbers = [number for number in data.getlist("person") if "\0" not in number][:MOST_PLACED]
    return list(
        people.filter(employee_number__in=numbers)
        .select_related("site")
        .order_by("full_name", "employee_number")
    )


class PlacesForm(forms.Form):
    """The class that somebody is put in."""

    session = forms.ModelChoiceField(
        ClassSession.objects.none(),
        to_field_name="number",
        error_messages={
            "required": _("Choose a class, or plan one for them."),
            "invalid_choice": _("That class is over, full or not here any more. Choose another."),
        },
    )

    def __init__(self, *args: Any, sessions: QuerySet[ClassSession], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["session"].queryset = sessions  # type: ignore[attr-defined]
