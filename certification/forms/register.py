"""What the register can be asked for."""

from datetime import date

from django import forms
from django.utils.translation import gettext_lazy as _

from certification.models import Scope
from certification.register import NOT_CURRENT, Asked, standings_told
from training.forms.fields import DayInput
from training.models import Person, Site, User

STANDINGS = [
    ("", _("Any standing")),
    ("certified", _("certified")),
    ("ending", _("certified, ends within 90 days")),
    ("expired", _("expired")),
    ("vision_not_current", _("vision not current")),
    (NOT_CURRENT, _("not current: see your instructor")),
    ("practice_lapsed", _("practice lapsed")),
    ("suspended", _("suspended")),
    ("revoked", _("revoked")),
    ("never_certified", _("never certified")),
]
ORDERS = [
    ("name", _("by name")),
    ("number", _("by employee number")),
    ("end", _("what ends first")),
    ("scope", _("by scope")),
    ("standing", _("by standing")),
    ("site", _("by site")),
    ("lead", _("by line lead")),
]
# Nobody is asked about earlier or later days, and adding to one never leaves the calendar.
EARLIEST, LATEST = date(1900, 1, 1), date(2999, 12, 31)


class RegisterForm(forms.Form):
    """Filters of the register, read from the address so that a view can be kept and sent."""

    day = forms.DateField(
        label=_("As of (empty: today)"),
        required=False,
        widget=DayInput,
        error_messages={"invalid": _("There is no such day. Write it as 2026-05-03.")},
    )
    q = forms.CharField(label=_("Name or employee number"), required=False, max_length=120)
    scope = forms.ModelChoiceField(
        Scope.objects.filter(retired_at__isnull=True),
        label=_("Scope"),
        required=False,
        to_field_name="code",
        empty_label=_("All scopes"),
    )
    standing = forms.ChoiceField(label=_("Standing"), choices=STANDINGS, required=False)
    site = forms.ModelChoiceField(
        Site.objects.none(),
        label=_("Site"),
        required=False,
        to_field_name="prefix",
        empty_label=_("All sites"),
    )
    order = forms.ChoiceField(label=_("Order"), choices=ORDERS, required=False)
    lead = forms.ModelChoiceField(
        Person.objects.none(),
        label=_("Line lead"),
        required=False,
        to_field_name="employee_number",
        empty_label=_("All line leads"),
    )
    left = forms.BooleanField(label=_("Also who was not here that day"), required=False)

    def __init__(self, *args, user: User, sites: set[int], leads: set[int], **kwargs) -> None:
        """Take ids of the sites and line leads to choose from; there is no choice among one."""
        super().__init__(*args, **kwargs)
        told = standings_told(user)
        self.fields["standing"].choices = [  # type: ignore[attr-defined]
            choice for choice in STANDINGS if not choice[0] or choice[0] in told
        ]
        for name, model, offered in (("site", Site, sites), ("lead", Person, leads)):
            if len(offered) < 2:
                del self.fields[name]
            else:
                found = model._default_manager.filter(pk__in=offered)
                self.fields[name].queryset = found  # type: ignore[attr-defined]
        self.fields["q"].widget.attrs["data_wide"] = True

    def clean_day(self) -> date | None:
        day = self.cleaned_data["day"]
        if day is not None and not EARLIEST <= day <= LATEST:
            raise forms.ValidationError(
                _("Give a day from %(first)s to %(last)s."),
                params={"first": EARLIEST.year, "last": LATEST.year},
            )
        return day

    @property
    def knows_the_day(self) -> bool:
        """Whether it is known which day is asked about; no other may be answered for."""
        return "day" not in self.errors

    def asked(self, today: date) -> Asked:
        """What is asked for, of today if of no other day; a filter that makes no sense is left
        open."""
        data = self.cleaned_data
        return Asked(
            day=data.get("day") or today,
            text=data.get("q", "").strip(),
            site=data.get("site"),
            scope=data.get("scope"),
            standing=data.get("standing", ""),
            lead=data.get("lead"),
            order=data.get("order") or "name",
            with_left=data.get("left", False),
        )
