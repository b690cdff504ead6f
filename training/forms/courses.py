"""Planning classes and enrolling people in them."""

from collections.abc import Iterable
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext_lazy as _

from people.forms.fields import DayInput, RowsField, find_person, form_helper
from people.models import Person, Role, Site, User
from people.models.people import PersonQuerySet
from training.models import ClassSession, CourseRevision, Room

BOOK_UNTIL_DAYS = 1
WHEN = [("", _("from today on")), ("past", _("over")), ("all", _("all"))]


class ClassFilterForm(forms.Form):
    when = forms.ChoiceField(label=_("Which"), required=False, choices=WHEN)
    site = forms.ModelChoiceField(
        Site.objects.none(),
        label=_("Site"),
        required=False,
        empty_label=_("all"),
        to_field_name="prefix",
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        if len(sites) < 2:
            del self.fields["site"]

    def chosen(self) -> dict[str, Any]:
        """The filters that were understood."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}


def instructors_at(sites: Iterable[Site]) -> QuerySet[User]:
    today = min((site.today() for site in sites), default=timezone.localdate())
    return (
        User.objects.open_on(today)
        .filter(roles__role=Role.INSTRUCTOR, roles__site__in=sites)
        .select_related("person")
        .order_by("person__full_name")
        .distinct()
    )


class ClassForm(forms.Form):
    """When, where and by whom a course is taught."""

    course_revision = forms.ModelChoiceField(
        CourseRevision.objects.none(), label=_("Course"), empty_label=_("choose one")
    )
    site = forms.ModelChoiceField(Site.objects.none(), label=_("Site"), empty_label=None)
    instructor = forms.ModelChoiceField(
        User.objects.none(),
        label=_("Instructor"),
        empty_label=None,
        to_field_name="employee_number",
    )
    others = RowsField(
        User.objects.none(),
        label=_("Others who teach it"),
        required=False,
        to_field_name="employee_number",
        widget=forms.CheckboxSelectMultiple,
    )
    starts_on = forms.DateField(label=_("First day"), widget=DayInput)
    ends_on = forms.DateField(label=_("Last day"), widget=DayInput)
    weekdays = forms.TypedMultipleChoiceField(
        label=_("Held between them on"),
        required=False,
        choices=[(number + 1, name) for number, name in WEEKDAYS.items()],
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        help_text=_(
            "Nothing ticked: on the site’s working days, or on every day where it begins or ends "
            "on a day off. The first and the last day are always days of the class."
        ),
    )
    places = forms.IntegerField(label=_("Places"), min_value=1, max_value=200)
    room = forms.CharField(
        label=_("Room"),
        required=False,
        max_length=80,
        widget=forms.TextInput(attrs={"list": "rooms", "autocomplete": "off"}),
        help_text=_("One of the site’s rooms, or any other place."),
    )

    open_to = forms.ChoiceField(
        label=_("Open to"), required=False, choices=ClassSession.OpenTo.choices
    )
    book_until_days = forms.IntegerField(
        label=_("Book and give back until so many days before"),
        required=False,
        min_value=0,
        max_value=60,
        initial=BOOK_UNTIL_DAYS,
    )

    def __init__(
        self,
        *args: Any,
        sites: QuerySet[Site],
        revisions: Iterable[CourseRevision] = (),
        session: ClassSession | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        instructors = instructors_at(sites)
        self.fields["instructor"].queryset = instructors  # type: ignore[attr-defined]
        self.fields["others"].queryset = instructors  # type: ignore[attr-defined]
        if len(instructors) < 2:
            del self.fields["others"]
        others = ["others"] if "others" in self.fields else []
        self.rooms = Room.objects.filter(site__in=sites).select_related("site")
        rows = [
            Div("starts_on", "ends_on", css_class="fields-row"),
            "weekdays",
            Div("places", "room", css_class="fields-row"),
            Div("open_to", "book_until_days", css_class="fields-row"),
        ]
        if session is None:
            course = self.fields["course_revision"]
            course.queryset = CourseRevision.objects.filter(  # type: ignore[attr-defined]
                pk__in=[revision.pk for revision in revisions]
            ).select_related("course")
            self.fields["site"].queryset = sites  # type: ignore[attr-defined]
            head = ["course_revision", Div("site", "instructor", css_class="fields-row"), *others]
        else:
            del self.fields["course_revision"], self.fields["site"]
            head = ["instructor", *others]
        self.helper = form_helper(*head, *rows)

    def clean_open_to(self) -> str:
        return self.cleaned_data["open_to"] or ClassSession.OpenTo.NOBODY

    def clean_book_until_days(self) -> int:
        days = self.cleaned_data["book_until_days"]
        return BOOK_UNTIL_DAYS if days is None else days


class EnrolForm(forms.Form):
    """People to enrol: typed, one to a line, or ticked in a list of those who work there."""

    people = forms.CharField(
        label=_("Whom to enrol"),
        required=False,
        max_length=8000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("One to a line: the employee number, or the name if nobody else has it."),
    )
    ticked = RowsField(Person.objects.none(), required=False, to_field_name="employee_number")

    def __init__(self, *args: Any, people: PersonQuerySet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.known_people = people
        self.fields["ticked"].queryset = people  # type: ignore[attr-defined]
        self.helper = form_helper("people")

    def clean_people(self) -> list[Person]:
        people, errors = [], []
        for line in self.cleaned_data["people"].splitlines():
            text = line.strip()
            if not text:
                continue
            try:
                people.append(find_person(text, self.known_people))
            except forms.ValidationError as error:
                errors.append(error)
        if errors:
            raise forms.ValidationError(errors)
        return people

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not data.get("people") and not data.get("ticked") and not self.errors:
            self.add_error("people", _("Say who: type a number or a name, or tick people below."))
        return data

    def chosen(self) -> list[Person]:
        """Everybody meant, once each."""
        return list(dict.fromkeys([*self.cleaned_data["people"], *self.cleaned_data["ticked"]]))
