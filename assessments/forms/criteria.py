"""Working on a draft of criteria, confirming it, publishing it."""

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.conf import settings
from django.contrib.staticfiles import finders
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from assessments.content.sources import ALLOYS
from assessments.domain.criterion_rules import UNITS
from assessments.models import CriteriaSet, Criterion, ExerciseCriteria
from assessments.presenters import criteria_words
from assessments.queries.criteria_sets import (
    FIELDS,
    TEXTS,
    own_drawings,
    state_of,
    text_name,
)
from people.forms.fields import PasswordField, code_validator, form_helper
from people.forms.signing import SigningForm
from training.models import Exercise, JointType, Stage

FEW_LINES = {"rows": 3}
LABELS = {
    "title": _("Title"),
    "text": _("What is asked"),
    "reject": _("What fails"),
    "advice": _("What to try"),
}


def drawings_that_come_along() -> list[str]:
    """Names of the drawings of joints that the product brings along."""
    folder = finders.find("img/drawings")
    if not folder:
        return []
    names = sorted(path.stem for path in Path(str(folder)).glob("*.svg"))
    return [name for name in names if not name.startswith("exercise-")]


def drawing_choices(*, blank: bool) -> list[Any]:
    own = own_drawings()
    brought = [(name, name) for name in drawings_that_come_along()]
    groups: list[Any] = [("", _now("none"))] if blank else []
    if own:
        groups.append((_now("Of this organisation"), own))
    groups.append((_now("Brought along"), brought))
    return groups


def with_value(data: Any, name: str, value: str) -> Any:
    """What a form was sent, with another value of one field: for a page that is shown again."""
    changed = data.copy()
    changed[name] = value
    return changed


class CriterionForm(forms.Form):
    """Everything a draft may say of a criterion; which one it is, is said elsewhere.

    Parameters
    ----------
    criterion : Criterion, optional
        What is changed; none where one is added.
    earlier : Criterion, optional
        The same in the revision before, shown beside what differs.
    """

    stage = forms.ChoiceField(label=_("Stage"), choices=Stage.choices)
    of = forms.ChoiceField(label=_("Judged on"), choices=Criterion.Of.choices)
    joint_types = forms.MultipleChoiceField(
        label=_("Joint types"),
        choices=JointType.choices,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Choose at least one joint type that it is asked of.")},
    )
    alloys = forms.MultipleChoiceField(
        label=_("Alloys"),
        required=False,
        choices=[],
        widget=forms.CheckboxSelectMultiple,
        help_text=_("None ticked: any alloy."),
    )
    how = forms.ChoiceField(
        label=_("How it is judged"), choices=Criterion.How.choices, widget=forms.RadioSelect
    )
    quantity = forms.ChoiceField(label=_("Quantity"), required=False, choices=[])
    low = forms.DecimalField(
        label=_("At least"), required=False, max_digits=9, decimal_places=4, localize=True
    )
    high = forms.DecimalField(
        label=_("At most"), required=False, max_digits=9, decimal_places=4, localize=True
    )
    unit = forms.ChoiceField(
        label=pgettext_lazy("of measurement", "Unit"), required=False, choices=[]
    )
    datum = forms.ChoiceField(
        label=_("Measured from"),
        required=False,
        choices=[("", _("nothing in particular")), *Criterion.Datum.choices],
        help_text=_("Of an insulation clearance, as its document says."),
    )
    by_eye = forms.ChoiceField(
        label=_("By eye instead"),
        required=False,
        choices=Criterion.ByEye.choices,
        help_text=_("Of what is measured: whether a grader who says why may judge it by eye."),
    )
    severity = forms.ChoiceField(
        label=_("Severity"), choices=Criterion.Severity.choices, widget=forms.RadioSelect
    )
    demerits = forms.IntegerField(label=_("Demerits"), min_value=0, max_value=100)
    document = forms.CharField(label=_("Document"), required=False, max_length=160)
    edition = forms.CharField(label=_("Edition"), required=False, max_length=60)
    clause = forms.CharField(label=_("Clause"), required=False, max_length=80)
    source_note = forms.CharField(
        label=_("Where the limit comes from"),
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs=FEW_LINES),
    )
    accept_drawing = forms.ChoiceField(label=_("Drawing, acceptable"), required=False, choices=[])
    reject_drawing = forms.ChoiceField(
        label=_("Drawing, not acceptable"), required=False, choices=[]
    )
    more_reject_drawings = forms.MultipleChoiceField(
        label=_("Further ones, not acceptable"),
        required=False,
        choices=[],
        widget=forms.SelectMultiple(attrs={"size": 4}),
    )
    shown = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        *args: Any,
        criterion: Criterion | None = None,
        earlier: Criterion | None = None,
        **kwargs: Any,
    ) -> None:
        state = state_of(criterion) if criterion else {}
        initial = {
            "how": Criterion.How.EYE,
            "severity": Criterion.Severity.MAJOR,
            **state,
            "low": criterion.low.normalize() if criterion and criterion.low is not None else None,
            "high": (
                criterion.high.normalize() if criterion and criterion.high is not None else None
            ),
            "shown": json.dumps(state),
            **kwargs.pop("initial", {}),
        }
        kwargs["initial"] = initial
        super().__init__(*args, **kwargs)
        self.languages = list(settings.LANGUAGES)
        for language, _name in self.languages:
            self._add_texts(language)
        self._offer_choices(criterion)
        if earlier is not None and criterion is not None:
            self._show_before(state_of(earlier), state, str(earlier.criteria_set.revision))

    def _add_texts(self, language: str) -> None:
        for key in TEXTS:
            widget = forms.TextInput() if key == "title" else forms.Textarea(attrs=FEW_LINES)
            widget.attrs["lang"] = language
            self.fields[text_name(key, language)] = forms.CharField(
                label=LABELS[key],
                required=False,
                max_length=80 if key == "title" else 600,
                widget=widget,
            )

    def _offer_choices(self, criterion: Criterion | None) -> None:
        known = [*ALLOYS, *(criterion.alloys if criterion else [])]
        choices: dict[str, list[Any]] = {
            "alloys": [(alloy, alloy) for alloy in dict.fromkeys(known)],
            "quantity": [
                ("", _now("none that is marked on a photograph")),
                *Criterion.Quantity.choices,
            ],
            "unit": [
                ("", _now("none")),
                *((unit, criteria_words.unit_choice(unit)) for unit in UNITS),
            ],
            "accept_drawing": drawing_choices(blank=True),
            "reject_drawing": drawing_choices(blank=True),
            "more_reject_drawings": drawing_choices(blank=False),
        }
        for name, offered in choices.items():
            self.fields[name].choices = offered  # type: ignore[attr-defined]

    def _show_before(
        self, before: Mapping[str, Any], now: Mapping[str, Any], revision: str
    ) -> None:
        """Say beside each field that differs what the revision before has there."""
        for name, value in before.items():
            if name in self.fields and value != now[name]:
                self.fields[name].help_text = _now("rev. %(n)s: %(value)s") % {
                    "n": revision,
                    "value": criteria_words.value_shown(name, value),
                }

    def show_theirs(self, theirs: Mapping[str, str], now: Mapping[str, Any]) -> None:
        """Say beside each field what somebody else has put there meanwhile, and go on from it."""
        for name in theirs:
            if name in self.fields:
                self[name].help_text = _now("There now: %(value)s") % {
                    "value": criteria_words.value_shown(name, now[name])
                }
        self.data = with_value(self.data, "shown", json.dumps(dict(now)))

    def clean_shown(self) -> dict[str, Any]:
        """What the page was filled with; what cannot be read agrees with nothing."""
        try:
            shown = json.loads(self.cleaned_data["shown"] or "{}")
        except ValueError:
            shown = {}
        return shown if isinstance(shown, dict) else {}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        complete = any(
            all(data.get(text_name(key, language)) for key in ("title", "text", "reject"))
            for language, _name in self.languages
        )
        if not complete:
            first = text_name("title", self.languages[0][0])
            self.add_error(
                first,
                _now("Give the title, what is asked and what fails in one language at least."),
            )
        return data

    def changes(self) -> dict[str, Any]:
        """What was typed, as the service takes it."""
        data = self.cleaned_data
        return {
            **{name: data[name] for name in FIELDS},
            "texts": {
                language: {key: data[text_name(key, language)] for key in TEXTS}
                for language, _name in self.languages
            },
        }

    def texts_by_language(self) -> list[tuple[str, Any, list[Any], bool]]:
        """For each language its code, name and fields, and whether the page opens them."""
        shown = []
        for place, (language, name) in enumerate(self.languages):
            fields = [self[text_name(key, language)] for key in TEXTS]
            opened = place == 0 or any(field.errors for field in fields)
            shown.append((language, name, fields, opened))
        return shown


class NewCriterionForm(CriterionForm):
    """A criterion that a draft does not have yet, with the code it will keep for ever."""

    code = forms.CharField(
        label=_("Code"),
        max_length=16,
        validators=[code_validator],
        help_text=_("It stays with the criterion from revision to revision."),
    )
    field_order = ("code",)


class NewSetForm(forms.Form):
    """A set of the site's own, as a draft."""

    title = forms.CharField(
        label=_("Title"),
        max_length=120,
        help_text=_("It stays the same from revision to revision."),
    )
    document = forms.CharField(label=_("Document"), required=False, max_length=160)
    product_class = forms.CharField(label=_("Product class"), required=False, max_length=80)
    summary = forms.CharField(
        label=_("In a sentence"),
        required=False,
        max_length=400,
        widget=forms.Textarea(attrs=FEW_LINES),
    )
    copied_from = forms.ModelChoiceField(
        label=_("Begin as a copy of"),
        required=False,
        queryset=CriteriaSet.objects.none(),
        empty_label=_("nothing: an empty set"),
    )

    def __init__(self, *args: Any, sets: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["copied_from"].queryset = sets  # type: ignore[attr-defined]
        self.helper = form_helper(
            "title",
            Div("document", "product_class", css_class="fields-row"),
            "summary",
            "copied_from",
        )

    def clean_title(self) -> str:
        return " ".join(self.cleaned_data["title"].split())


class SetForm(forms.Form):
    """What a draft says of itself as a whole."""

    document = forms.CharField(label=_("Document"), required=False, max_length=160)
    product_class = forms.CharField(label=_("Product class"), required=False, max_length=80)
    summary = forms.CharField(
        label=_("In a sentence"),
        required=False,
        max_length=400,
        widget=forms.Textarea(attrs=FEW_LINES),
    )
    by_default = forms.BooleanField(
        label=_("Judges every board whose exercise names no other set"), required=False
    )
    shown = forms.CharField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, criteria_set: CriteriaSet, **kwargs: Any) -> None:
        said = {
            name: getattr(criteria_set, name)
            for name in ("document", "product_class", "summary", "by_default")
        }
        kwargs["initial"] = {**said, "shown": json.dumps(said)}
        super().__init__(*args, **kwargs)
        self.helper = form_helper(
            Div("document", "product_class", css_class="fields-row"),
            "summary",
            "by_default",
            "shown",
        )

    def clean_shown(self) -> dict[str, Any]:
        try:
            shown = json.loads(self.cleaned_data["shown"])
        except ValueError:
            shown = {"summary": None}
        return shown if isinstance(shown, dict) else {"summary": None}


class WhyForm(forms.Form):
    """Why a criterion is taken out of a draft, or a draft is discarded."""

    why = forms.CharField(
        label=_("Why"),
        max_length=200,
        error_messages={"required": _("Say why: whoever reads of it later asks.")},
    )
    seen = forms.CharField(required=False, widget=forms.HiddenInput)


class ConfirmForm(forms.Form):
    """The criteria that somebody has read in one document, and the edition it was."""

    codes = forms.MultipleChoiceField(
        choices=[],
        error_messages={"required": _("Tick at least one criterion that is not confirmed yet.")},
    )
    edition = forms.CharField(
        label=_("Edition read"),
        required=False,
        max_length=60,
        help_text=_("Each ticked criterion names it from then on."),
    )

    def __init__(self, *args: Any, criteria: Iterable[Criterion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.criteria = list(criteria)
        self.fields["codes"].choices = [  # type: ignore[attr-defined]
            (criterion.code, criterion.title) for criterion in self.criteria
        ]

    @property
    def ticked(self) -> set[str]:
        """The codes that were ticked, whether or not they could be taken."""
        return set(self["codes"].value() or ())

    def seen(self) -> dict[str, str]:
        """By code the digest of each criterion as the page showed it."""
        return {
            criterion.code: self.data.get(f"seen-{criterion.code}", "")
            for criterion in self.criteria
        }


class RetiringForm(forms.Form):
    """Why a set is retired for the whole organisation, and the password."""

    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        error_messages={"required": _("Say why: everybody judges by it from now on.")},
    )
    password = PasswordField(
        help_text="",
        error_messages={"required": _("Type your password to prove that it is you.")},
    )


class PublishingForm(SigningForm, RetiringForm):
    """Why a draft is published as its page shows it, and the password."""


class DrawingForm(forms.Form):
    """A drawing of the site's own."""

    file = forms.FileField(
        label=_("SVG, PNG, JPEG or WebP"),
        widget=forms.ClearableFileInput(attrs={"accept": ".svg,.png,.jpg,.jpeg,.webp"}),
        error_messages={"required": _("Choose a drawing first.")},
    )
    title = forms.CharField(
        label=_("What it shows"),
        max_length=120,
        help_text=_("Read aloud to whoever does not see it."),
    )


class ExerciseCriteriaForm(forms.Form):
    """Which set the boards of an exercise begin with."""

    title = forms.ChoiceField(label=_("Boards begin with"), required=False, choices=[])
    shown = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, titles: Iterable[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["title"].choices = [  # type: ignore[attr-defined]
            ("", _now("the set that judges by default")),
            *((title, title) for title in titles),
        ]


def exercise_form(exercise: Exercise, data: Any = None) -> ExerciseCriteriaForm:
    """The choice of a set for an exercise, with the one that holds now."""
    choice = ExerciseCriteria.objects.filter(exercise_code=exercise.code).first()
    title = choice.title if choice else ""
    in_force = CriteriaSet.objects.current().order_by("title").values_list("title", flat=True)
    titles = list(dict.fromkeys([*in_force, *([title] if title else [])]))
    return ExerciseCriteriaForm(data, titles=titles, initial={"title": title, "shown": title})


class ImportForm(forms.Form):
    """A set as a table, with its drawings where it has some of its own."""

    file = forms.FileField(
        label=_("CSV, XLSX, or a zip of one of them with drawings"),
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.xlsx,.zip"}),
        error_messages={"required": _("Choose a file first.")},
    )
    title = forms.CharField(
        label=_("Title"),
        max_length=120,
        help_text=_(
            "Of a set that is there: the file becomes its next revision, as a draft. Of none: a new"
            " set."
        ),
    )
