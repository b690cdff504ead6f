"""What the register can be asked for."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.forms.utils import flatatt
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext_lazy as _

from certification.access import IN_FULL
from certification.domain.disclosure import NOT_CURRENT
from certification.models import KnownRegister, Scope
from certification.presenters.register import RegisterFilters, standings_told
from people.forms.fields import DayInput
from people.models import Person, Role, Site, User
from people.queries.memberships import former_sites_on
from people.queries.site_days import days_at

from .instants import KnownAtField

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
    ("end", _("first to lapse")),
    ("scope", _("by scope")),
    ("standing", _("by standing")),
    ("site", _("by site")),
    ("lead", _("by line lead")),
]
# Nobody is asked about earlier or later days, and adding to one never leaves the calendar.
EARLIEST, LATEST = date(1900, 1, 1), date(2999, 12, 31)


class LongSelect(forms.Select):
    """Writes its options in one go, where hundreds would each be made and rendered by itself."""

    def render(self, name: str, value: Any, attrs: Any = None, renderer: Any = None) -> SafeString:
        chosen = set(self.format_value(value))
        options = format_html_join(
            "",
            '<option value="{}"{}>{}</option>',
            (
                (code, " selected" if str(code) in chosen else "", label)
                for code, label in self.choices
            ),
        )
        attributes = flatatt({"name": name, **self.build_attrs(self.attrs, attrs)})
        return format_html("<select{}>{}</select>", attributes, options)


@dataclass(frozen=True, slots=True, order=True)
class Offered:
    """Something to choose, in the order of its name."""

    name: str
    code: str
    pk: int


class Works:
    """Where people work and who leads them, in two queries whatever their number."""

    def __init__(self, people: QuerySet[Person]) -> None:
        people = people.order_by()
        sites = Site.objects.filter(pk__in=people.values("site")).order_by()
        leads = Person.objects.filter(pk__in=people.values("line_lead")).order_by()
        rows = list(sites.values_list("name", "prefix", "pk", "time_zone"))
        self.sites = _offered(row[:3] for row in rows)
        self.zones = [(pk, zone) for _name, _prefix, pk, zone in rows]
        self.leads = _offered(leads.values_list("full_name", "employee_number", "pk"))


def _offered(rows: Iterable[tuple[str, str, int]]) -> list[Offered]:
    return sorted(Offered(*row) for row in rows)


class RegisterForm(forms.Form):
    """Filters of the register, read from the address so that a view can be kept and sent."""

    day = forms.DateField(
        label=_("As of"),
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
    site = forms.ChoiceField(label=_("Site"), required=False)
    order = forms.ChoiceField(label=_("Order"), choices=ORDERS, required=False)
    lead = forms.ChoiceField(label=_("Line lead"), required=False, widget=LongSelect)
    left = forms.BooleanField(label=_("Also who was not here that day"), required=False)

    def __init__(self, *args, user: User, works: Works, **kwargs) -> None:
        """Take where people work and under whom; there is no choice among one.

        Quality alone may ask what was known.
        """
        super().__init__(*args, **kwargs)
        self._ids: dict[tuple[str, str], int] = {}
        self.fields["known_at"] = KnownAtField(site=user.person.site if user.person else None)
        self.order_fields(["day", "known_at"])
        if not user.has_role(Role.QUALITY):
            del self.fields["known_at"]
        readable = standings_told(user)
        self._choose(
            "standing", [choice for choice in STANDINGS if not choice[0] or choice[0] in readable]
        )
        self._zones, self._sites = works.zones, works.sites
        self._reads_at = frozenset(user.sites_as(*IN_FULL))
        self._offer("site", _("All sites"), works.sites)
        self._offer("lead", _("All line leads"), works.leads)
        self.fields["q"].widget.attrs["data_wide"] = True

    def _offer(self, name: str, everything: Any, offered: list[Offered]) -> None:
        if len(offered) < 2:
            del self.fields[name]
        else:
            self._choose(
                name, [("", everything), *((choice.code, choice.name) for choice in offered)]
            )
        self._ids |= {(name, choice.code): choice.pk for choice in offered}

    def _choose(self, name: str, choices: list[tuple[str, Any]]) -> None:
        self.fields[name].choices = choices  # type: ignore[attr-defined]

    def _id(self, name: str) -> int | None:
        return self._ids.get((name, self.cleaned_data.get(name, "")))

    def clean_day(self) -> date | None:
        day = self.cleaned_data["day"]
        if day is not None and not EARLIEST <= day <= LATEST:
            raise forms.ValidationError(
                _("Give a day from %(first)s to %(last)s."),
                params={"first": EARLIEST.year, "last": LATEST.year},
            )
        return day

    @property
    def knows_when(self) -> bool:
        """Whether day and instant are those of a calendar; no others may be answered for."""
        return not {"day", "known_at"} & set(self.errors)

    def days_elsewhere(self, filters: RegisterFilters) -> list[tuple[date, str]]:
        """The sites where it is another day than the reader's, by day, in words."""
        return [
            (day, ", ".join(site.name for site in self._sites if site.pk in site_ids))
            for day, site_ids in filters.elsewhere
        ]

    def known_at(self, now: datetime) -> datetime | None:
        """The instant asked about, if it is past: what comes is not known now either."""
        instant = self.cleaned_data.get("known_at")
        return instant if instant is not None and instant < now else None

    def filters(
        self, today: date, known: KnownRegister | None = None, *, now: datetime | None = None
    ) -> RegisterFilters:
        """What is asked for; a filter that makes no sense is left open.

        Of no day it is today, which with ``now`` is each person's own at their site.
        """
        data = self.cleaned_data
        is_today = data.get("day") is None and known is None and now is not None
        day = data.get("day") or today
        is_past = day < today
        return RegisterFilters(
            day=day,
            text=data.get("q", "").strip(),
            site_id=self._id("site"),
            scope=data.get("scope"),
            standing=data.get("standing", ""),
            lead_id=self._id("lead"),
            order=data.get("order") or "name",
            with_left=data.get("left", False),
            known=known,
            is_past=is_past,
            former_sites=former_sites_on(day) if is_past else {},
            reads_at=self._reads_at,
            elsewhere=days_at(now, today, self._zones).elsewhere if is_today and now else (),
        )
