"""Schemes: begun, drafted figure by figure, published, retired."""

import re
from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from assessments.models import Board, WrittenTest
from certification.domain.facts import ExpiryRule, SchemeFigures
from certification.domain.path import PathFigures
from certification.domain.scheme_rules import MOST_BOARDS, MOST_DAYS, MOST_MONTHS, MOST_STEPS
from certification.models import SchemeRevision, Scope
from certification.models.schemes import operators_first
from certification.queries.scheme_drafts import PATH_FIGURES, RULES, SOURCED, draft_digest
from certification.queries.standing_on_day import FIGURES
from certification.services.scheme_drafts import Draft
from certification.services.schemes import Asked
from people.forms.fields import PasswordField, RowsField, code_validator, form_helper
from people.forms.signing import SigningForm
from training.models import CourseRevision, Exercise

NUMBER = {"inputmode": "numeric", "autocomplete": "off"}
SAY_WHY = _("Say why: whoever reads of it later asks.")


def months(label: Any, help_text: Any = "", least: int = 0) -> forms.IntegerField:
    return forms.IntegerField(
        label=label, help_text=help_text, min_value=least, max_value=MOST_MONTHS
    )


class ScopesField(RowsField):
    """Scopes to tick, each by its code and its title."""

    def label_from_instance(self, scope: Any) -> str:
        return f"{scope.code} {scope.title}"


class StepsField(forms.CharField):
    """Days before an end, as numbers with commas or spaces between them."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=200, required=False, **kwargs)

    def prepare_value(self, value: Any) -> Any:
        return ", ".join(map(str, value)) if isinstance(value, list) else value

    def clean(self, value: Any) -> list[int]:
        text = super().clean(value)
        parts = [part for part in re.split(r"[\s,;]+", text) if part]
        if not all(re.fullmatch(r"[0-9]{1,4}", part) for part in parts):
            raise forms.ValidationError(
                _now("Give days as whole numbers with commas between them: 90, 60, 30.")
            )
        steps = sorted({int(part) for part in parts}, reverse=True)
        if len(steps) > MOST_STEPS or any(step > MOST_DAYS for step in steps):
            raise forms.ValidationError(
                _now("Give no more than %(steps)d reminders, none more than %(days)d days before.")
                % {"steps": MOST_STEPS, "days": MOST_DAYS}
            )
        return steps


class CountField(forms.IntegerField):
    """A number from 0; left empty it is 0."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, required=False, **kwargs)

    def clean(self, value: Any) -> int:
        return super().clean(value) or 0


def tests_in_use() -> list[tuple[str, Any]]:
    """The written tests of which papers are handed out, by code, after none."""
    tests = WrittenTest.objects.current().order_by("code", "revision")
    titles = dict(tests.values_list("code", "title"))
    return [("", _("none")), *((code, f"{code} {title}") for code, title in titles.items())]


class WrittenTestField(forms.ChoiceField):
    """A written test; one that is out of use since may stay, and is said to be a fault."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(choices=tests_in_use, required=False, **kwargs)

    def valid_value(self, value: Any) -> bool:
        return super().valid_value(value) or WrittenTest.objects.filter(code=value).exists()

    def offer(self, code: str) -> None:
        """Have a test that is not in use among the choices, where a draft names it."""
        choices = tests_in_use()
        if code not in dict(choices):
            unknown = _now("%(code)s, of which there are no papers") % {"code": code}
            self.choices = [*choices, (code, unknown)]


class FiguresForm(forms.Form):
    """The figures of a scheme, by themselves: what an example is worked out from."""

    validity_months = months(_("Good for, months"), least=1)
    expiry_rule = forms.ChoiceField(label=_("Ends on"), choices=SchemeRevision.ExpiryRule.choices)
    renewal_window_days = forms.IntegerField(
        label=_("Window for renewing, days before the end"),
        help_text=_("Renewed within it, the next certificate runs on from the old end."),
        min_value=0,
        max_value=MOST_DAYS,
    )
    vision_months = months(_("Vision test good for, months"), _("0: none is asked for."))
    max_absence_months = months(_("Longest gap in the work, months"), _("0: no limit."))
    reminder_steps = StepsField(
        label=_("Reminders, days before an end"), help_text=_("With commas: 90, 60, 30, 14, 7, 1.")
    )
    instructor_may_issue = forms.BooleanField(
        label=_("An instructor who graded none of the boards may issue"), required=False
    )
    grader_needs_standing = forms.BooleanField(
        label=_("Graders need standing as inspector or instructor"), required=False
    )
    attempts = CountField(
        label=_("Attempts at an exercise that may fail before training again"),
        help_text=_("Boards for qualification. 0: no limit."),
        max_value=MOST_BOARDS,
    )
    wait_days = CountField(
        label=_("Days to wait after an attempt failed"),
        help_text=_("0: the next may begin on the same day."),
        max_value=MOST_DAYS,
    )
    retraining_boards = CountField(
        label=_("Practice boards that stand for training again"),
        help_text=_("Passed after failing. 0: a class alone does."),
        max_value=MOST_BOARDS,
    )
    written_test = WrittenTestField(label=_("Written test to be passed"))
    written_test_months = CountField(
        label=_("Written test passed within, months"),
        help_text=_("0: however long ago."),
        max_value=MOST_MONTHS,
    )

    def figures(self) -> SchemeFigures:
        data = self.cleaned_data
        return SchemeFigures(
            **{name: data[name] for name in FIGURES if name != "expiry_rule"},
            expiry_rule=ExpiryRule(data["expiry_rule"]),
        )

    def path(self) -> PathFigures:
        return PathFigures(**{name: self.cleaned_data[name] for name in PATH_FIGURES})

    def rules(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in RULES}


class DraftForm(FiguresForm):
    """Everything that a draft says but for the boards it asks for, which are lines of their own.

    Parameters
    ----------
    revision : SchemeRevision
        The draft.
    title_stays : bool
        Whether a revision of the scheme was published before, so that its title is known.
    """

    title = forms.CharField(label=_("Title"), max_length=120)
    scopes = ScopesField(
        Scope.objects.none(),
        label=_("Scopes"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(
        self, data: Any = None, *, revision: SchemeRevision, title_stays: bool = False
    ) -> None:
        super().__init__(
            data,
            initial={
                "title": revision.scheme.title,
                **{name: getattr(revision, name) for name in RULES},
                "scopes": list(revision.scopes.values_list("pk", flat=True)),
                "seen": draft_digest(revision),
            },
        )
        self.revision = revision
        self.fields["written_test"].offer(revision.written_test)  # type: ignore[attr-defined]
        if title_stays:
            self.fields["title"].disabled = True
            self.fields["title"].help_text = _now("A revision was published under it, so it stays.")
        offered = Scope.objects.filter(retired_at__isnull=True) | Scope.objects.filter(
            pk__in=revision.scopes.values("pk")
        )
        self.fields["scopes"].queryset = offered.order_by(  # type: ignore[attr-defined]
            operators_first(), "title"
        )
        for name in SOURCED:
            self.fields[f"source_{name}"] = forms.CharField(
                label=_now("Source"),
                required=False,
                max_length=300,
                initial=revision.sources.get(name, ""),
                widget=forms.Textarea(attrs={"rows": 2}),
            )

    @property
    def figure_rows(self) -> list[tuple[Any, Any]]:
        """Each figure beside its source, in the order of the page."""
        return [(self[name], self[f"source_{name}"]) for name in RULES]

    @property
    def source_of_boards(self) -> Any:
        return self["source_requirements"]

    def state(self, requirements: list[Asked]) -> dict[str, Any]:
        """What was typed, in the form of `queries.scheme_drafts.state_of`; of a valid form."""
        data = self.cleaned_data
        sources = {name: data[f"source_{name}"] for name in SOURCED}
        return {
            "title": data["title"],
            **self.rules(),
            "sources": {name: text for name, text in sources.items() if text},
            "scopes": sorted(scope.code for scope in data["scopes"]),
            "requirements": [
                [
                    asked.scope.code,
                    asked.exercise_code,
                    sorted(asked.purposes),
                    asked.boards,
                    asked.within_months,
                    asked.after_exercise,
                    asked.after_course,
                ]
                for asked in requirements
            ],
        }

    def draft(self, requirements: list[Asked]) -> Draft:
        data = self.cleaned_data
        return Draft(
            title=data["title"],
            rules=self.rules(),
            scopes=list(data["scopes"]),
            requirements=requirements,
            sources={name: data[f"source_{name}"] for name in SOURCED},
        )


class AskedForm(forms.Form):
    """Boards of one exercise that a draft asks for a scope; a line without an exercise is none."""

    scope = forms.ModelChoiceField(
        Scope.objects.none(),
        label=_("Scope"),
        required=False,
        to_field_name="code",
        empty_label=_("none"),
    )
    exercise = forms.ChoiceField(label=_("Exercise"), required=False, choices=[])
    boards = forms.IntegerField(
        label=_("Boards"), min_value=1, max_value=MOST_BOARDS, required=False
    )
    within_months = forms.IntegerField(
        label=_("Within months"), min_value=0, max_value=MOST_MONTHS, required=False
    )
    after_exercise = forms.ChoiceField(label=_("Only after passing"), required=False, choices=[])
    after_course = forms.ChoiceField(label=_("Only after attending"), required=False, choices=[])
    purposes = forms.MultipleChoiceField(
        label=_("Purposes that count"),
        choices=Board.Purpose.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(
        self,
        *args: Any,
        scopes: Any,
        exercises: Iterable[tuple[str, str]],
        courses: Iterable[tuple[str, str]],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["scope"].queryset = scopes  # type: ignore[attr-defined]
        no_boards = _now("%(code)s, of which there are no boards")
        for name, known, unknown in (
            ("exercise", exercises, no_boards),
            ("after_exercise", exercises, no_boards),
            ("after_course", courses, _now("%(code)s, which is no course in use")),
        ):
            choices = [("", _now("none")), *known]
            there = self.initial.get(name, "")
            if there not in dict(choices):
                choices.append((there, unknown % {"code": there}))
            self.fields[name].choices = choices  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if bool(cleaned.get("scope")) != bool(cleaned.get("exercise")) and not self.errors:
            raise forms.ValidationError(
                _now("Choose both the scope and the exercise, or neither to take the line out.")
            )
        return cleaned

    def asked(self) -> Asked | None:
        data = self.cleaned_data
        if not data.get("scope"):
            return None
        boards, within = data.get("boards"), data.get("within_months")
        return Asked(
            scope=data["scope"],
            exercise_code=data["exercise"],
            boards=1 if boards is None else boards,
            purposes=tuple(data["purposes"]),
            within_months=12 if within is None else within,
            after_exercise=data.get("after_exercise", ""),
            after_course=data.get("after_course", ""),
        )


EMPTY_LINES = 3
MOST_LINES = 200


class BaseAskedFormSet(forms.BaseFormSet):
    def requirements(self) -> list[Asked]:
        """The lines that ask for something; of a valid set."""
        return [asked for form in self.forms if (asked := form.asked()) is not None]


AskedFormSet = forms.formset_factory(
    AskedForm,
    formset=BaseAskedFormSet,
    extra=EMPTY_LINES,
    max_num=MOST_LINES,
    validate_max=True,
    absolute_max=MOST_LINES + EMPTY_LINES,
)


def asked_lines(revision: SchemeRevision, data: Any = None) -> Any:
    """The lines of a draft, with a few that are empty."""
    rows = list(revision.requirements.select_related("scope"))
    offered = Scope.objects.filter(retired_at__isnull=True) | Scope.objects.filter(
        pk__in=[row.scope_id for row in rows]
    )
    exercises = dict(
        Exercise.objects.current().order_by("code", "revision").values_list("code", "title")
    )
    courses = CourseRevision.objects.newest().values_list("course__code", "course__title")
    return AskedFormSet(
        data,
        prefix="asked",
        initial=[
            {
                "scope": row.scope.code,
                "exercise": row.exercise_code,
                "boards": row.boards,
                "within_months": row.within_months,
                "purposes": row.purposes,
                "after_exercise": row.after_exercise,
                "after_course": row.after_course,
            }
            for row in rows
        ],
        form_kwargs={
            "scopes": offered.order_by(operators_first(), "title"),
            "exercises": [(code, f"{code} {title}") for code, title in exercises.items()],
            "courses": [(code, f"{code} {title}") for code, title in courses],
        },
    )


class NewSchemeForm(forms.Form):
    """A scheme of the organisation's own: what it is called, and what it begins as."""

    code = forms.CharField(
        label=_("Code"),
        max_length=24,
        validators=[code_validator],
        help_text=_("Short, such as HS-1: each revision is called after it."),
    )
    title = forms.CharField(label=_("Title"), max_length=120)
    copied_from = forms.ModelChoiceField(
        SchemeRevision.objects.none(),
        label=_("Begins as a copy of"),
        required=False,
        to_field_name="name",
        empty_label=_("usual figures, no scope yet"),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        revisions = SchemeRevision.objects.select_related("scheme")
        self.fields["copied_from"].queryset = revisions  # type: ignore[attr-defined]
        self.helper = form_helper("code", "title", "copied_from")


class DiscardForm(forms.Form):
    """Why a draft is thrown away."""

    why = forms.CharField(label=_("Why"), max_length=200, error_messages={"required": SAY_WHY})
    seen = forms.CharField(required=False, widget=forms.HiddenInput)


class RetireSchemeForm(forms.Form):
    """Why nothing more is issued under a revision, and the password."""

    reason = forms.CharField(label=_("Why"), max_length=400, error_messages={"required": SAY_WHY})
    password = PasswordField(
        help_text="",
        error_messages={"required": _("Type your password to prove that it is you.")},
    )


class PublishSchemeForm(SigningForm, RetireSchemeForm):
    """Why a draft is published as its page shows it, and the password."""
