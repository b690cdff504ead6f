"""What is tapped on a class's tablet."""

from django import forms
from django.utils.translation import gettext_lazy as _

from people.access import LARGEST_ROW
from training.models import Stage


class PassForm(forms.Form):
    """Which stage of which board, and what the browser calls the act."""

    board = forms.CharField(max_length=24)
    stage = forms.ChoiceField(
        choices=Stage.choices, error_messages={"invalid_choice": _("There is no such stage.")}
    )
    key = forms.UUIDField(required=False)


class TakeBackForm(forms.Form):
    board = forms.CharField(max_length=24)
    key = forms.UUIDField()


class PositionForm(forms.Form):
    """Which position of which exercise is judged across the class, at which stage."""

    exercise = forms.IntegerField(min_value=1, max_value=LARGEST_ROW)
    stage = forms.ChoiceField(choices=Stage.choices)
    position = forms.CharField(max_length=24)
