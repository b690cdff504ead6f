"""What months ahead can be asked for."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from certification.models import Scope
from certification.presenters.months_ahead import MonthsFilters, kinds_told
from people.models import Person, Site, User
from people.queries.site_days import Days

MONTHS = [(number, str(number)) for number in (3, 6, 12, 18, 24)]


class MonthsForm(forms.Form):
    """Filters, read from the address so that a view can be kept and sent."""

    months = forms.TypedChoiceField(
        label=_("Months"), choices=MONTHS, coerce=int, required=False, empty_value=None
    )
    scope = forms.ModelChoiceField(
        Scope.objects.filter(retired_at__isnull=True),
        label=_("Scope"),
        required=False,
        to_field_name="code",
        empty_label=_("All scopes"),
    )
    kind = forms.ChoiceField(label=_("What"), required=False)
    site = forms.ModelChoiceField(
        Site.objects.none(),
        label=_("Site"),
        required=False,
        to_field_name="prefix",
        empty_label=_("All sites"),
    )
    lead = forms.ModelChoiceField(
        Person.objects.none(),
        label=_("Line lead"),
        required=False,
        to_field_name="employee_number",
        empty_label=_("All line leads"),
    )

    def __init__(
        self, data: Any, *, user: User, sites: set[int], leads: set[int], **kwargs: Any
    ) -> None:
        """Take ids of the sites and line leads to choose from; there is no choice among one."""
        data = data.copy()
        data.setdefault("months", "12")
        super().__init__(data, **kwargs)
        self.fields["kind"].choices = [  # type: ignore[attr-defined]
            ("", _("everything")),
            *kinds_told(user),
        ]
        for name, model, offered in (("site", Site, sites), ("lead", Person, leads)):
            if len(offered) < 2:
                del self.fields[name]
            else:
                rows = model._default_manager.filter(pk__in=offered)
                self.fields[name].queryset = rows  # type: ignore[attr-defined]
        self.is_valid()

    def filters(self, days: Days) -> MonthsFilters:
        """What is asked for; a filter that makes no sense is left open."""
        data = self.cleaned_data
        return MonthsFilters(
            day=days.day,
            elsewhere=days.elsewhere,
            months=data.get("months") or 12,
            site=data.get("site"),
            scope=data.get("scope"),
            lead=data.get("lead"),
            kind=data.get("kind", ""),
        )
