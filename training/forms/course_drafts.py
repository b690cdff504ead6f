"""Drafts of courses: begun, changed with their lessons, published, retired."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from people.forms.fields import code_validator, form_helper
from training import ports
from training.models import Course, CourseRevision, Exercise, Lesson
from training.queries.courses import head_of

from .exercises import RESERVED_CODES
from .rows import RowForm


class NewCourseForm(forms.Form):
    """A course of the organisation's own, as a draft."""

    code = forms.CharField(
        label=_("Code"),
        max_length=24,
        validators=[code_validator],
        help_text=_("It stays the same from revision to revision: HS-CUP."),
    )
    title = forms.CharField(label=_("Title"), max_length=120)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(Div("code", "title", css_class="fields-row"))

    def clean_code(self) -> str:
        code = self.cleaned_data["code"]
        if code.lower() in RESERVED_CODES:
            raise forms.ValidationError(_now("That word cannot be a code. Give another."))
        return code


class CourseHeadForm(forms.Form):
    """What a draft says beside its lessons."""

    summary = forms.CharField(
        label=_("Summary"),
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    days = forms.IntegerField(label=_("Days"), min_value=1, max_value=92)
    material = forms.CharField(
        label=_("Material, a line each"),
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    scope_codes = forms.MultipleChoiceField(
        label=_("Scopes it leads to"),
        required=False,
        choices=[],
        widget=forms.CheckboxSelectMultiple,
    )
    after_courses = forms.MultipleChoiceField(
        label=_("Courses completed first"),
        help_text=_("Nobody is put on a class of it who has not attended these whole."),
        required=False,
        choices=[],
        widget=forms.CheckboxSelectMultiple,
    )
    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, *args: Any, revision: CourseRevision, seen: str, **kwargs: Any) -> None:
        kwargs["initial"] = head_of(revision) | {"seen": seen}
        super().__init__(*args, **kwargs)
        known = ports.scopes()
        codes = {code for code, _title in known}
        self.fields["scope_codes"].choices = [  # type: ignore[attr-defined]
            *((code, f"{title} ({code})") for code, title in known),
            *(
                (code, _now("%(code)s: no such scope") % {"code": code})
                for code in revision.scope_codes
                if code not in codes
            ),
        ]
        courses = dict(Course.objects.exclude(pk=revision.course_id).values_list("code", "title"))
        self.fields["after_courses"].choices = [  # type: ignore[attr-defined]
            (code, f"{title} ({code})") for code, title in courses.items()
        ]
        self.helper = form_helper(
            "summary", "days", "material", "scope_codes", "after_courses", "seen"
        )

    def clean_material(self) -> str:
        lines = (" ".join(line.split()) for line in self.cleaned_data["material"].splitlines())
        return "\n".join(filter(None, lines))

    def said(self) -> dict[str, Any]:
        """What was typed, by the names of `queries.courses.HEAD`."""
        return {name: value for name, value in self.cleaned_data.items() if name != "seen"}


class LessonForm(RowForm):
    """A lesson: on which day, of what kind, how long, with what, and on which exercise."""

    written = ("title", "text", "material", "minutes")

    day = forms.IntegerField(label=_("Day"), min_value=1, max_value=92, initial=1)
    kind = forms.ChoiceField(label=_("Kind"), choices=Lesson.Kind.choices)
    title = forms.CharField(label=_("Lesson"), max_length=120)
    minutes = forms.IntegerField(label=_("Minutes"), min_value=1, max_value=960)
    exercise_id = forms.TypedChoiceField(
        label=_("Exercise"), required=False, choices=[], coerce=int, empty_value=None
    )
    text = forms.CharField(
        label=_("What is taught"),
        max_length=4000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    material = forms.CharField(label=_("Material"), max_length=200, required=False)


def lesson_form(exercises: Iterable[Exercise]) -> type[LessonForm]:
    """The form of a lesson that may be on one of these exercises; they are read once."""
    choices: Sequence[tuple[Any, str]] = [
        ("", _now("none")),
        *((exercise.pk, _exercise_name(exercise)) for exercise in exercises),
    ]

    class LessonOnExercise(LessonForm):
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            self.fields["exercise_id"].choices = choices  # type: ignore[attr-defined]

    return LessonOnExercise


def _exercise_name(exercise: Exercise) -> str:
    words = {
        "title": exercise.title,
        "code": exercise.code,
        "revision": exercise.revision,
    }
    if exercise.is_draft:
        return _now("%(title)s (%(code)s, rev. %(revision)d, draft)") % words
    if exercise.retired_at is not None:
        return _now("%(title)s (%(code)s, rev. %(revision)d, out of use)") % words
    return _now("%(title)s (%(code)s, rev. %(revision)d)") % words


def hours_in_all(lessons: Iterable[Mapping[str, Any]]) -> int:
    """The minutes of all lessons together; rows without a number count nothing."""
    return sum(lesson["minutes"] for lesson in lessons if isinstance(lesson.get("minutes"), int))
