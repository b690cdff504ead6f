"""Letters that were printed, as the page of a class named them."""

from typing import Any

from django import forms
from django.db.models import QuerySet

from people.forms.fields import RowsField
from training.models import ClassLetter


class LettersForm(forms.Form):
    letter = RowsField(ClassLetter.objects.none())

    def __init__(self, *args: Any, letters: QuerySet[ClassLetter], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["letter"].queryset = letters  # type: ignore[attr-defined]
