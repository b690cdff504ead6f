"""Language, and how often lists come."""

from typing import Any

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _

from people.forms.fields import form_helper
from reminders.models import MailChoice


class MailChoiceForm(forms.Form):
    # Each language in its own words, so that everybody finds theirs.
    language = forms.ChoiceField(
        label=_("Language"),
        choices=settings.LANGUAGES,
        help_text=_("Of pages, mails and your calendar."),
    )
    lists = forms.ChoiceField(
        label=_("The list of what ends for others"), choices=MailChoice.Lists.choices
    )

    def __init__(self, *args: Any, has_lists: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not has_lists:
            del self.fields["lists"]
        self.helper = form_helper(*self.fields)
