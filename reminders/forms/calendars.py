"""What a calendar's address is made with."""

from django import forms
from django.utils.translation import gettext_lazy as _

from people.forms.fields import form_helper


class CalendarForm(forms.Form):
    in_full = forms.BooleanField(
        label=_("Say what ends, a vision test too"),
        required=False,
        help_text=_(
            "Only where nobody else sees your calendar. Otherwise every entry reads "
            "“Certified through this day”."
        ),
    )
    helper = form_helper("in_full")
