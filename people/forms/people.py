"""Finding people, entering them, and what is written down about them."""

from collections.abc import Iterable
from typing import Any

from crispy_forms.layout import Div, Field
from django import forms
from django.conf import settings
from django.db.models import QuerySet
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from people.domain.employee_numbers import LONGEST, NumberFault, number_fault
from people.models import Person, Role, Site, SiteRole, User
from people.models.people import PersonQuerySet

from .fields import (
    DayInput,
    PasswordField,
    PersonField,
    form_helper,
)

STATES = [("", _("here today")), ("left", _("left")), ("all", _("all"))]
# Everybody is an operator where they work, and a kiosk is a sign-in of its own.
NOT_FOR_PEOPLE = {Role.OPERATOR, Role.KIOSK}


class PersonFilterForm(forms.Form):
    """Whom the list of people shows; anything unknown counts as not asked for."""

    q = forms.CharField(
        label=_("Name or number"),
        required=False,
        max_length=80,
        widget=forms.TextInput(attrs={"type": "search", "data_wide": True}),
    )
    site = forms.ModelChoiceField(
        Site.objects.none(),
        label=_("Site"),
        required=False,
        empty_label=_("all"),
        to_field_name="prefix",
    )
    kind = forms.ChoiceField(
        label=_("Kind"), required=False, choices=[("", _("all")), *Person.Kind.choices]
    )
    state = forms.ChoiceField(label=_("Who"), required=False, choices=STATES)

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        if len(sites) < 2:
            del self.fields["site"]

    def chosen(self) -> dict[str, Any]:
        """The filters that were understood."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}


class PersonForm(forms.Form):
    """Somebody's particulars."""

    employee_number = forms.CharField(label=_("Employee number"), max_length=LONGEST)
    full_name = forms.CharField(label=_("Full name"), max_length=120)
    kind = forms.ChoiceField(label=_("Kind"), choices=Person.Kind.choices)
    employer = forms.CharField(
        label=_("Employer"),
        required=False,
        max_length=120,
        help_text=_("Of a contractor or a visitor."),
    )
    email = forms.EmailField(
        label=_("E-mail"),
        required=False,
        max_length=254,
        help_text=_("Without one, reminders reach them through their line lead."),
    )
    language = forms.ChoiceField(label=_("Language of pages and mails"), choices=settings.LANGUAGES)
    site = forms.ModelChoiceField(Site.objects.none(), label=_("Site"), empty_label=None)
    line_lead = PersonField(label=_("Line lead"), required=False)
    started_on = forms.DateField(label=_("First day here"), required=False, widget=DayInput)
    left_on = forms.DateField(
        label=_("Last day here"),
        required=False,
        widget=DayInput,
        help_text=_("Once they leave. Their records stay."),
    )

    def __init__(
        self,
        *args: Any,
        sites: QuerySet[Site],
        leads: PersonQuerySet,
        address_is_fixed: bool = False,
        site_is_fixed: bool = False,
        **kwargs: Any,
    ) -> None:
        """Take where people may be entered; of somebody known, where they are is a fact with a
        day, and moved from a day on (`MoveForm`)."""
        super().__init__(*args, **kwargs)
        if address_is_fixed:
            self.fields["email"].disabled = True
            self.fields["email"].help_text = _now(
                "Links to set a password go there, so another administrator, of all their sites, "
                "changes it."
            )
        if site_is_fixed:
            del self.fields["site"]
            self.fields["full_name"].help_text = _now(
                "A spelling put right. A new name has a day: enter it on their page."
            )
        else:
            self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        self.fields["line_lead"].offer(leads, "line-leads")  # type: ignore[attr-defined]
        self.helper = form_helper(
            Div("employee_number", "full_name", css_class="fields-row"),
            Div("kind", "employer", css_class="fields-row"),
            Div("email", "language", css_class="fields-row"),
            "line_lead" if site_is_fixed else Div("site", "line_lead", css_class="fields-row"),
            Div("started_on", "left_on", css_class="fields-row"),
        )

    def clean_employee_number(self) -> str:
        number: str = self.cleaned_data["employee_number"]
        fault = number_fault(number)
        if fault is NumberFault.RESERVED:
            raise forms.ValidationError(_now("That word cannot be a number. Give another."))
        if fault is not None:
            raise forms.ValidationError(
                _now(
                    "Use letters, digits, dots, hyphens and spaces, a letter or digit first, "
                    "no accents."
                )
            )
        return number


class MoveForm(forms.Form):
    """Where somebody moves, and from which day on."""

    site = forms.ModelChoiceField(
        Site.objects.none(), label=_("To site"), empty_label=_("choose one")
    )
    from_day = forms.DateField(
        label=_("From"),
        widget=DayInput,
        help_text=_("The first day there, past or to come; a day begins where they move to."),
    )
    reason = forms.CharField(
        label=_("Why"), max_length=400, widget=forms.Textarea(attrs={"rows": 3})
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        self.helper = form_helper(Div("site", "from_day", css_class="fields-row"), "reason")


class ChangeForm(forms.Form):
    """Name, number and line lead, and the day from which they are others.

    What the page showed comes back beside them, so that a change tells what its writer changed
    and nothing that somebody else did meanwhile.
    """

    full_name = forms.CharField(label=_("Full name"), max_length=120, show_hidden_initial=True)
    employee_number = forms.CharField(
        label=_("Employee number"), max_length=LONGEST, show_hidden_initial=True
    )
    line_lead = PersonField(label=_("Line lead"), required=False, show_hidden_initial=True)
    from_day = forms.DateField(
        label=_("From"), widget=DayInput, help_text=_("The first day on which it holds.")
    )
    reason = forms.CharField(
        label=_("Why"), max_length=400, widget=forms.Textarea(attrs={"rows": 3})
    )

    def __init__(self, *args: Any, leads: PersonQuerySet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["line_lead"].offer(leads, "line-leads")  # type: ignore[attr-defined]
        self.helper = form_helper(
            "full_name",
            Div("employee_number", "line_lead", css_class="fields-row"),
            "from_day",
            "reason",
        )

    def changes(self) -> dict[str, Any]:
        """What differs from what the page showed."""
        names = ("full_name", "employee_number", "line_lead")
        return {name: self.cleaned_data[name] for name in names if name in self.changed_data}


class ReturnForm(forms.Form):
    returned_on = forms.DateField(label=_("Back on"), widget=DayInput)
    reason = forms.CharField(
        label=_("Why"), max_length=400, widget=forms.Textarea(attrs={"rows": 3})
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("returned_on", "reason")


class PersonalDataForm(forms.Form):
    """Why a file of what is kept about somebody is made, and the password of who has it made."""

    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("Such as their request, with its day. They can read this."),
    )
    password = PasswordField(help_text=_("The file leaves the house, so you prove that it is you."))

    def __init__(self, *args: Any, is_own: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if is_own:
            del self.fields["reason"]
        self.helper = form_helper(*self.fields)


class ErasureForm(forms.Form):
    """Why somebody's name is erased, and the password of who does it."""

    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("Such as their request, with its day and without their name: it stays."),
    )
    password = PasswordField(help_text=_("It does not come back, so you prove that it is you."))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("reason", "password")


class MoveWithdrawalForm(forms.Form):
    reason = forms.CharField(
        label=_("Why"), max_length=400, widget=forms.Textarea(attrs={"rows": 3})
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("reason")


class StampForm(forms.Form):
    mark = forms.CharField(
        label=_("Mark"), max_length=32, help_text=_("What the stamp leaves on the work.")
    )
    issued_on = forms.DateField(label=pgettext_lazy("a stamp", "Issued on"), widget=DayInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(Div("mark", "issued_on", css_class="fields-row"))


class StampToSomebodyForm(StampForm):
    """A stamp, and who gets it."""

    person = PersonField(label=_("Into whose hands"))

    def __init__(self, *args: Any, people: PersonQuerySet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].offer(people, "people")  # type: ignore[attr-defined]
        self.fields["mark"].widget.attrs |= {"list": "free", "autocomplete": "off"}
        self.helper = form_helper("person", Div("mark", "issued_on", css_class="fields-row"))


class StampReturnForm(forms.Form):
    returned_on = forms.DateField(
        label=_("Returned on"),
        widget=DayInput,
        help_text=_("The last day on which its marks are theirs."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("returned_on")


class RolesForm(forms.Form):
    """The roles of a sign-in at each site that the administrator answers for."""

    def __init__(self, *args: Any, sites: Iterable[Site], user: User | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sites = list(sites)
        roles_by_site: dict[int, list[str]] = {}
        for site_role in SiteRole.objects.filter(user=user) if user else ():
            roles_by_site.setdefault(site_role.site_id, []).append(site_role.role)
        choices = [(role.value, role.label) for role in Role if role not in NOT_FOR_PEOPLE]
        for site in self.sites:
            self.fields[site.prefix] = forms.MultipleChoiceField(
                label=_now("At %(site)s") % {"site": site.name},
                required=False,
                choices=choices,
                initial=roles_by_site.get(site.pk, []),
                widget=forms.CheckboxSelectMultiple,
            )
        self.helper = form_helper(*(Field(site.prefix) for site in self.sites))

    def roles(self) -> list[tuple[Site, str]]:
        return [
            (site, role) for site in self.sites for role in self.cleaned_data.get(site.prefix, [])
        ]
