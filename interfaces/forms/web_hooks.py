"""What a web hook is made with, and which deliveries to list."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from interfaces.models import HookEvent, WebHook, WebHookDelivery
from interfaces.models.web_hooks import WebHookDeliveryQuerySet
from people.forms.fields import form_helper
from people.models import Site

STATES = [("", _("Any state")), *WebHookDelivery.State.choices]


class HookForm(forms.Form):
    site = forms.ModelChoiceField(Site.objects.none(), label=_("Site"), empty_label=None)
    name = forms.CharField(
        label=_("Name"), max_length=80, help_text=_("Of the system that is told, for the lists.")
    )
    address = forms.CharField(
        label=_("Address"),
        max_length=400,
        widget=forms.URLInput(attrs={"placeholder": "https://"}),
        help_text=_("Events are posted there. It must answer with a code from 200 to 299."),
    )
    events = forms.MultipleChoiceField(
        label=_("Events"),
        choices=HookEvent.choices,
        initial=list(HookEvent.values),
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        self.fields["site"].initial = sites.first()
        self.helper = form_helper("site", "name", "address", "events")


class DeliveriesForm(forms.Form):
    """Filters of the list; anything unknown counts as not asked for."""

    hook = forms.ModelChoiceField(
        WebHook.objects.none(), label=_("Web hook"), required=False, empty_label=_("Any web hook")
    )
    state = forms.ChoiceField(label=_("State"), choices=STATES, required=False)

    def __init__(self, *args: Any, hooks: QuerySet[WebHook], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["hook"].queryset = hooks  # type: ignore[attr-defined]

    def narrowed(self, deliveries: WebHookDeliveryQuerySet) -> WebHookDeliveryQuerySet:
        if hook := self.cleaned_data.get("hook"):
            deliveries = deliveries.filter(hook=hook)
        if state := self.cleaned_data.get("state"):
            deliveries = deliveries.in_state(state)
        return deliveries
