"""What the pages of reminders and mails can be asked for."""

from typing import Any

from django import forms
from django.db.models import Q, QuerySet
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from people.models import Site
from reminders.models import Message
from reminders.models.reminders import MessageQuerySet

STATES = [("", _("Any state")), *Message.State.choices]


class ComingForm(forms.Form):
    """Whose coming reminders to show; there is no choice among one site."""

    q = forms.CharField(label=_("Name or employee number"), required=False, max_length=120)
    site = forms.ModelChoiceField(
        Site.objects.none(), label=_("Site"), required=False, to_field_name="prefix"
    )

    def __init__(
        self, data: QueryDict, *, sites: QuerySet[Site], own: Site | None, **kwargs: Any
    ) -> None:
        """Take the sites to choose from; one's own is meant where none is named."""
        self.sites = list(sites)
        self.default = own if own in self.sites else self.sites[0]
        data = data.copy()
        data.setdefault("site", self.default.prefix)
        super().__init__(data, **kwargs)
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        self.fields["site"].empty_label = None  # type: ignore[attr-defined]
        if len(self.sites) < 2:
            del self.fields["site"]
        self.fields["q"].widget.attrs["data_wide"] = True

    def chosen_site(self) -> Site:
        return self.cleaned_data.get("site") or self.default

    def text(self) -> str:
        return str(self.cleaned_data.get("q", "")).strip()


class OutboxForm(forms.Form):
    """Which mails to show; a filter that makes no sense is left open."""

    q = forms.CharField(label=_("Reader, address or subject"), required=False, max_length=120)
    state = forms.ChoiceField(label=_("State"), choices=STATES, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["q"].widget.attrs["data_wide"] = True

    def narrowed(self, messages: MessageQuerySet) -> MessageQuerySet:
        text = str(self.cleaned_data.get("q", "")).strip()
        if text:
            messages = messages.filter(
                Q(recipient__icontains=text)
                | Q(person__full_name__icontains=text)
                | Q(person__employee_number=text)
                | Q(subject__icontains=text)
            )
        state = self.cleaned_data.get("state")
        return messages.in_state(Message.State(state)) if state else messages
