"""Working on the bank of a written test, handing it out, and what comes back on paper."""

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import ProhibitNullCharactersValidator
from django.db.models import QuerySet
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from assessments.domain.answers import MOST_CHOICES, SQUARES, Kind, number_in
from assessments.models import Paper, PaperQuestion, Photo, Question, WrittenTest
from assessments.queries.written_tests import FORM_LETTERS
from assessments.services.papers import LONGEST_GIVEN, MOST_GIVEN, MOST_PEOPLE
from people.forms.fields import (
    DayInput,
    PasswordField,
    code_validator,
    find_person,
    form_helper,
)
from people.forms.signing import SigningForm
from people.models import Person
from people.models.people import PersonQuerySet
from training.models import CourseRevision, Lesson

from .criteria import drawing_choices

LETTERS = "ABCDEFGH"
PHOTO_ADDRESS = re.compile(r"(?:.*/)?photos/([\w-]{1,40})/?")
no_null = ProhibitNullCharactersValidator()


class CourseField(forms.ModelChoiceField):
    def label_from_instance(self, revision: CourseRevision) -> str:
        return f"{revision.course.title}, {revision.course.code}"


class NewTestForm(forms.Form):
    """What a test is called, and which course it is on."""

    code = forms.CharField(
        label=_("Code"),
        max_length=24,
        validators=[code_validator],
        help_text=_("For example HS-WRITTEN. It stays the same from revision to revision."),
    )
    title = forms.CharField(label=_("Title"), max_length=120)
    course_revision = CourseField(
        CourseRevision.objects.none(), label=_("Course"), empty_label=_("choose one")
    )

    def __init__(self, *args: Any, courses: QuerySet[CourseRevision], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["course_revision"].queryset = courses  # type: ignore[attr-defined]
        self.helper = form_helper(Div("code", "title", css_class="fields-row"), "course_revision")


class RulesForm(forms.Form):
    """By which rules a test is taken; of drawn forms a number for each topic there is."""

    title = forms.CharField(label=_("Title"), max_length=120)
    minutes = forms.IntegerField(label=_("Time limit in minutes"), min_value=1, max_value=600)
    open_book = forms.BooleanField(label=_("Open book"), required=False)
    may_use = forms.CharField(
        label=_("What may be used"),
        max_length=200,
        required=False,
        help_text=_("Of an open book, for example: the workmanship standard, no telephone."),
    )
    pass_percent = forms.IntegerField(
        label=_("Pass mark, per cent right"), min_value=1, max_value=100
    )
    pass_basis = forms.CharField(
        label=_("What the pass mark rests on"),
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_(
            "A clause of the customer’s document, or who set it and how: for example, three "
            "instructors judged question by question what somebody just fit to work would know."
        ),
    )
    tries = forms.IntegerField(label=_("Tries"), min_value=1, max_value=20)
    wait_days = forms.IntegerField(
        label=_("Days to wait after a failed try"), min_value=0, max_value=365
    )
    another_form = forms.BooleanField(
        label=_("Another form at each try"),
        required=False,
        help_text=_("Of drawn forms: questions come first that the person has not had."),
    )
    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)
    # Last, since within the class it hides the module.
    forms = forms.ChoiceField(
        label=_("Forms"), choices=WrittenTest.Forms.choices, widget=forms.RadioSelect
    )

    def __init__(self, *args: Any, topics: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.topics = list(topics)
        for n, topic in enumerate(self.topics):
            self.fields[f"count-{n}"] = _count_field(topic)
        self.helper = form_helper(
            "seen",
            "title",
            Div("minutes", "pass_percent", css_class="fields-row"),
            "pass_basis",
            "open_book",
            "may_use",
            Div("tries", "wait_days", css_class="fields-row"),
            "another_form",
            "forms",
            *(f"count-{n}" for n in range(len(self.topics))),
        )

    def rules(self) -> dict[str, Any]:
        data = self.cleaned_data
        counts = [
            {"topic": topic, "count": data[f"count-{n}"] or 0}
            for n, topic in enumerate(self.topics)
        ]
        names = (
            "title", "minutes", "open_book", "may_use", "pass_percent", "pass_basis", "tries",
            "wait_days", "another_form", "forms",
        )  # fmt: skip
        return {name: data[name] for name in names} | {
            "counts": [line for line in counts if line["count"]]
        }


def _count_field(topic: str) -> forms.IntegerField:
    return forms.IntegerField(
        label=_now("Questions of “%(topic)s” on a drawn paper") % {"topic": topic},
        required=False,
        min_value=0,
        max_value=200,
    )


class LessonField(forms.ModelChoiceField):
    def label_from_instance(self, lesson: Lesson) -> str:
        return lesson.title


class QuestionForm(forms.Form):
    """What a question of one kind asks, what is right, and what to read again.

    Parameters
    ----------
    kind : str
        Settled before: each kind has fields of its own.
    photos : callable
        Gives the photograph of a key that the user may ask about, or None.
    """

    topic = forms.CharField(
        label=_("Topic"),
        max_length=80,
        widget=forms.TextInput(attrs={"list": "topics", "autocomplete": "off"}),
    )
    text = forms.CharField(
        label=_("Question"), max_length=2000, widget=forms.Textarea(attrs={"rows": 3})
    )
    value = forms.CharField(label=_("Right number"), required=False, max_length=24)
    tolerance = forms.CharField(
        label=_("An answer may be off by"),
        required=False,
        max_length=24,
        help_text=_("0 where it has to be exact. What is off by just this much is right."),
    )
    unit = forms.CharField(
        label=_("Unit"), required=False, max_length=12, help_text=_("For example mm, °C or s.")
    )
    squares = forms.CharField(
        label=_("Right squares"),
        required=False,
        max_length=200,
        help_text=_("Columns A to H from the left, rows 1 to 6 from the top: for example C4 C5."),
    )
    drawing = forms.ChoiceField(
        label=_("Drawing"),
        required=False,
        choices=[],
        help_text=_("Its ring and its corner, which give the answer, are left out on papers."),
    )
    photo = forms.CharField(
        label=_("Or a photograph: the address of its page"), required=False, max_length=200
    )
    picture_says = forms.CharField(
        label=_("What the picture shows"),
        required=False,
        max_length=200,
        help_text=_("For whoever does not see it, and without the answer."),
    )
    must_be_right = forms.BooleanField(
        label=_("Must be right to pass"),
        required=False,
        help_text=_("For what keeps people safe. It stands on every drawn paper."),
    )
    on_forms = forms.MultipleChoiceField(
        label=_("On the fixed forms"),
        required=False,
        choices=[(letter, letter) for letter in FORM_LETTERS],
        widget=forms.CheckboxSelectMultiple,
    )
    lesson = LessonField(
        Lesson.objects.none(),
        label=_("Lesson to read again"),
        required=False,
        empty_label=_("none"),
    )
    read_again = forms.CharField(
        label=_("What to read again"),
        required=False,
        max_length=200,
        help_text=_("Told to whoever answers wrongly, instead of the right answer."),
    )
    source = forms.CharField(
        label=_("Where it comes from"),
        required=False,
        max_length=200,
        help_text=_("Document, edition and clause, or common practice."),
    )
    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(
        self, *args: Any, kind: str, lessons: QuerySet[Lesson], photos: Any, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.kind, self.photos = Kind(kind), photos
        self.fields["drawing"].choices = drawing_choices(blank=True)  # type: ignore[attr-defined]
        self.fields["lesson"].queryset = lessons  # type: ignore[attr-defined]
        if self.kind is not Kind.NUMBER:
            for name in ("value", "tolerance", "unit"):
                del self.fields[name]
        if self.kind is not Kind.PLACE:
            del self.fields["squares"]
        chosen = self.kind in (Kind.ONE, Kind.SEVERAL, Kind.ORDER)
        self.choice_fields = range(MOST_CHOICES) if chosen else range(0)
        for n in self.choice_fields:
            self.fields[f"choice-{n}"] = forms.CharField(
                label=_now("Choice %(n)d") % {"n": n + 1}, required=False, max_length=200
            )
            if self.kind is not Kind.ORDER:
                self.fields[f"right-{n}"] = forms.BooleanField(
                    label=_now("Choice %(n)d is right") % {"n": n + 1}, required=False
                )

    @property
    def choice_lines(self) -> list[tuple[Any, Any]]:
        """Each choice with its tick, if its kind has one."""
        return [
            (self[f"choice-{n}"], self[f"right-{n}"] if f"right-{n}" in self.fields else None)
            for n in self.choice_fields
        ]

    def clean_squares(self) -> list[str]:
        squares = self.cleaned_data["squares"].replace(",", " ").upper().split()
        unknown = [square for square in squares if square not in SQUARES]
        if unknown:
            raise ValidationError(
                _now("There is no square %(square)s. They go from A1 to H6."),
                params={"square": unknown[0][:20]},
            )
        return sorted(set(squares))

    def _number(self, name: str) -> str:
        text = self.cleaned_data[name]
        number = number_in(text, self.cleaned_data.get("unit", "")) if text else None
        if text and number is None:
            raise ValidationError(_now("Type a number, such as 0.76."))
        return "" if number is None else f"{number:f}"

    def clean_value(self) -> str:
        return self._number("value")

    def clean_tolerance(self) -> str:
        text = self._number("tolerance")
        if text and Decimal(text) < 0:
            raise ValidationError(_now("Type 0 or more."))
        return text

    def clean_photo(self) -> Photo | None:
        text = self.cleaned_data["photo"].strip()
        if not text:
            return None
        named = PHOTO_ADDRESS.fullmatch(text)
        photo = self.photos(named[1]) if named else None
        if photo is None:
            raise ValidationError(
                _now("No photograph that you may see has this address. Copy it from its page.")
            )
        return photo

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("drawing") and cleaned.get("photo"):
            self.add_error("photo", _now("Choose a drawing or a photograph, not both."))
        return cleaned

    def said(self) -> dict[str, Any]:
        """What the form says, by the names of `queries.written_tests.QUESTION`."""
        data = self.cleaned_data
        photo, lesson = data["photo"], data["lesson"]
        texts = [data[f"choice-{n}"].strip() for n in self.choice_fields]
        kept = [n for n, text in enumerate(texts) if text]
        key: dict[str, Any] = {}
        if self.kind is Kind.NUMBER:
            key = {"value": data["value"], "tolerance": data["tolerance"]}
        elif self.kind is Kind.PLACE:
            key = {"right": data["squares"]}
        elif self.kind is not Kind.ORDER:
            key = {"right": [place for place, n in enumerate(kept) if data[f"right-{n}"]]}
        return {
            "kind": str(self.kind),
            "topic": data["topic"],
            "text": data["text"],
            "choices": [texts[n] for n in kept],
            "key": key,
            "unit": data.get("unit", ""),
            "drawing": data["drawing"],
            "photo_id": photo.pk if photo else None,
            "picture_says": data["picture_says"],
            "must_be_right": data["must_be_right"],
            "on_forms": "".join(sorted(data["on_forms"])),
            "lesson_id": lesson.pk if lesson else None,
            "read_again": data["read_again"],
            "source": data["source"],
        }


def question_initial(question: Question) -> dict[str, Any]:
    """What the form of a question that is there is filled with."""
    key = question.key
    filled = {
        "topic": question.topic,
        "text": question.text,
        "value": key.get("value", ""),
        "tolerance": key.get("tolerance", ""),
        "unit": question.unit,
        "squares": " ".join(str(one) for one in key.get("right", [])),
        "drawing": question.drawing,
        "photo": f"photos/{question.photo.key}/" if question.photo else "",
        "picture_says": question.picture_says,
        "must_be_right": question.must_be_right,
        "on_forms": list(question.on_forms),
        "lesson": question.lesson_id,
        "read_again": question.read_again,
        "source": question.source,
    }
    for n, text in enumerate(question.choices):
        filled |= {f"choice-{n}": text, f"right-{n}": n in key.get("right", [])}
    return filled


class RetireTestForm(forms.Form):
    """Why no more papers of a test are handed out, and the password."""

    reason = forms.CharField(label=_("Why"), max_length=400)
    password = PasswordField(
        help_text="",
        error_messages={"required": _("Type your password to prove that it is you.")},
    )


class PublishTestForm(SigningForm):
    """Why a draft is published as its page shows it, and the password."""

    reason = forms.CharField(label=_("Why"), max_length=400)
    password = PasswordField(
        error_messages={"required": _("Type your password to prove that it is you.")}
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("shown", "reason", "password")


class HandOutForm(forms.Form):
    """Who takes a test, how, and from which day on."""

    people = forms.CharField(
        label=_("Who takes it"),
        max_length=6000,
        widget=forms.Textarea(attrs={"rows": 6, "autocomplete": "off"}),
        help_text=_("A line each: employee number, or the name if nobody else has it."),
    )
    medium = forms.ChoiceField(
        label=_("Taken"), choices=Paper.Medium.choices, widget=forms.RadioSelect
    )
    not_before = forms.DateField(label=_("Not before"), widget=DayInput)

    def __init__(self, *args: Any, people: PersonQuerySet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.among = people
        self.helper = form_helper("people", "medium", "not_before")

    def clean_people(self) -> list[Person]:
        lines = [line.strip() for line in self.cleaned_data["people"].splitlines()]
        lines = [line for line in lines if line]
        if len(lines) > MOST_PEOPLE:
            raise ValidationError(_now("At most %(n)d people at once."), params={"n": MOST_PEOPLE})
        found = {person.pk: person for person in (find_person(line, self.among) for line in lines)}
        return list(found.values())


class AnswerForm(forms.Form):
    """One answer: from the page's script as a list, or as a form's own fields send it."""

    order = forms.IntegerField(min_value=1, max_value=1000)
    key = forms.CharField(max_length=36, required=False)
    given = forms.CharField(max_length=4000, required=False)

    def clean_given(self) -> list[str]:
        text = self.cleaned_data["given"]
        try:
            given = (
                json.loads(text) if text else [one.strip() for one in self.data.getlist("answer")]  # type: ignore[attr-defined]
            )
        except (ValueError, RecursionError):
            given = None
        if (
            not isinstance(given, list)
            or len(given) > MOST_GIVEN
            or not all(isinstance(one, str) and len(one) <= LONGEST_GIVEN for one in given)
        ):
            raise ValidationError(_now("That is no answer that can be kept. Give it anew."))
        for one in given:
            no_null(one)
            if any("\ud800" <= character <= "\udfff" for character in one):
                raise ValidationError(_now("That is no answer that can be kept. Give it anew."))
        return given if any(given) else []


class EnterForm(SigningForm):
    """What stands on a printed paper: of choices their letters, of an order the ranks."""

    sat_on = forms.DateField(label=_("Taken on"), widget=DayInput)
    password = PasswordField()

    def __init__(self, *args: Any, questions: Iterable[PaperQuestion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.asked = list(questions)
        for each in self.asked:
            self.fields[_answer(each)] = forms.CharField(
                label=_now("Question %(n)d") % {"n": each.order},
                required=False,
                max_length=60,
                help_text=_how_typed(each.question),
                widget=forms.TextInput(attrs={"autocomplete": "off"}),
            )
        self.helper = form_helper(
            "shown", "sat_on", *(_answer(each) for each in self.asked), "password"
        )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        for each in self.asked:
            name = _answer(each)
            if cleaned.get(name):
                try:
                    given_on_paper(each, cleaned[name])
                except ValidationError as error:
                    self.add_error(name, error)
        return cleaned

    def given(self) -> dict[int, list[str]]:
        """What was given to each question, as its paper would have sent it from a screen."""
        return {
            each.order: given_on_paper(each, self.cleaned_data[_answer(each)])
            for each in self.asked
        }


class CorrectForm(EnterForm):
    """What stands on a printed paper after all, and why it was entered otherwise."""

    sat_on = None  # type: ignore[assignment] # no field of this form
    reason = forms.CharField(
        label=_("Why"), max_length=400, help_text=_("For example: two lines were mixed up.")
    )

    def __init__(self, *args: Any, entered: Mapping[int, Sequence[str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for each in self.asked:
            self.initial[_answer(each)] = typed_from_paper(each, entered.get(each.order, ()))
        self.helper = form_helper(
            "shown", *(_answer(each) for each in self.asked), "reason", "password"
        )


def _answer(each: PaperQuestion) -> str:
    return f"answer-{each.order}"


def _how_typed(question: Question) -> str:
    return {
        Kind.ONE: _now("Its letter, such as B."),
        Kind.SEVERAL: _now("Their letters, such as A C."),
        Kind.NUMBER: _now("The number as it is written."),
        Kind.ORDER: _now("The numbers beside A, B, C …, such as 3 1 2."),
        Kind.PLACE: _now("The square, such as C4."),
    }[Kind(question.kind)]


def given_on_paper(each: PaperQuestion, text: str) -> list[str]:
    """Read what was typed off a paper.

    Raises
    ------
    ValidationError
        If it names no choice or square of the question.
    """
    kind, count = Kind(each.question.kind), len(each.question.choices)
    text = text.strip()
    if not text:
        return []
    if kind is Kind.NUMBER:
        return [text]
    words = text.upper().replace(",", " ").split()
    if kind is Kind.PLACE:
        if len(words) != 1 or words[0] not in SQUARES:
            raise ValidationError(_now("Type one square, from A1 to H6."))
        return words
    if kind is Kind.ORDER:
        ranks = words if len(words) > 1 else list(words[0])
        if len(ranks) != count or not all(len(rank) == 1 and rank in "12345678-" for rank in ranks):
            raise ValidationError(
                _now("Type %(n)d numbers, a hyphen where none stands."), params={"n": count}
            )
        return ["" if rank == "-" else rank for rank in ranks]
    letters = [letter for word in words for letter in word]
    if any(letter not in LETTERS[:count] for letter in letters):
        raise ValidationError(
            _now("Type letters from A to %(last)s."), params={"last": LETTERS[count - 1]}
        )
    return sorted({str(LETTERS.index(letter)) for letter in letters})


def typed_from_paper(each: PaperQuestion, given: Sequence[str]) -> str:
    """How an answer would be typed that `given_on_paper` reads as this one."""
    if Kind(each.question.kind) is Kind.ORDER:
        return " ".join(rank or "-" for rank in given)
    if Kind(each.question.kind) in (Kind.NUMBER, Kind.PLACE):
        return " ".join(given)
    return " ".join(LETTERS[int(number)] for number in given)


class CountLateForm(SigningForm):
    """Why answers that came late count, signed."""

    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        help_text=_("For example: the network was away from 10:40 on, as the line lead saw."),
    )
    password = PasswordField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("shown", "reason", "password")


class WithdrawPaperForm(forms.Form):
    reason = forms.CharField(label=_("Why"), max_length=400)
