"""What is asked before a certificate from elsewhere is entered: what is on the paper, and work."""

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from certification.models import SchemeRevision, Scope
from certification.queries.standing_if_entered import IfEntered
from certification.services.certificates_from_elsewhere import OutsideCertificate
from people.forms.fields import DayInput, PasswordField, PersonField, form_helper
from people.forms.signing import SigningForm
from people.models.people import PersonQuerySet
from records.domain.shown import Shown
from records.services.documents import Document

MOST_DAYS = 60
FACTS = ("person", "scope", "revision", "issuer", "number", "issued_on")
"""What has to be there before the standing can be said."""
TYPED_AT_THE_END = ("document", "password")


class DaysField(forms.CharField):
    """Days as ``2026-05-03``, with spaces, commas or lines between, each of them once."""

    def to_python(self, value: Any) -> Any:
        written = re.split(r"[\s,;]+", (super().to_python(value) or "").strip())
        days = {self._day(text) for text in written if text}
        if len(days) > MOST_DAYS:
            raise ValidationError(
                _now("These are more than %(most)d days: the few that bridge the time are enough.")
                % {"most": MOST_DAYS}
            )
        return sorted(days)

    @staticmethod
    def _day(text: str) -> date:
        try:
            return date.fromisoformat(text[:40])
        except ValueError as error:
            raise ValidationError(
                _now("%(text)s is not a day. Write days as 2026-05-03, with commas between.")
                % {"text": text[:40]}
            ) from error

    def validate(self, value: Any) -> None:
        """No day at all is an answer too."""

    def run_validators(self, value: Any) -> None:
        """Each day was looked at."""

    def prepare_value(self, value: Any) -> Any:
        return ", ".join(str(day) for day in value) if isinstance(value, list) else value


class ElsewhereForm(SigningForm):
    """A certificate that others issued: whose, for what, the paper itself, and the signature.

    Parameters
    ----------
    show : callable
        Gives what the page shows of the form's facts, or raises a refusal in words: called with
        the facts once they are whole, before anything is compared or signed. It leaves what it
        worked out in ``coming``.
    is_signing : bool
        False where the standing alone is asked for, without document and password.
    """

    person = PersonField(label=_("Person"))
    scope = forms.ModelChoiceField(
        Scope.objects.none(), label=_("Scope"), to_field_name="code", empty_label=_("choose one")
    )
    revision = forms.ModelChoiceField(
        SchemeRevision.objects.none(),
        label=_("Scheme"),
        to_field_name="name",
        empty_label=_("choose one"),
        help_text=_("It says how long the certificate is good and what keeps it alive."),
    )
    issuer = forms.CharField(
        label=_("Issued by"),
        max_length=160,
        help_text=_("The employer or training centre on the paper."),
    )
    number = forms.CharField(label=_("Number on the paper"), max_length=80)
    issued_on = forms.DateField(label=_("Issued on"), widget=DayInput)
    ends_on = forms.DateField(
        label=_("Good through, on the paper"),
        widget=DayInput,
        required=False,
        help_text=_("If it ends before the scheme would end it."),
    )
    restriction = forms.CharField(label=_("Restriction"), max_length=400, required=False)
    work = DaysField(
        label=_("Days of this work since it was issued"),
        required=False,
        max_length=1000,
        help_text=_(
            "Where the scheme asks for work: such as 2026-05-03, 2026-09-28, the last one before "
            "today among them. They are recorded as practice under your signature."
        ),
    )
    work_reference = forms.CharField(
        label=_("What shows the work"),
        required=False,
        max_length=80,
        help_text=_("Such as a letter of the employer."),
    )
    document = forms.FileField(
        label=_("The paper, scanned or photographed"),
        help_text=_("PDF, JPEG, PNG, TIFF, WebP or HEIC, up to 15 MB. It is kept as it comes."),
    )
    password = PasswordField(
        help_text=_(
            "Typed again, it is your signature that you verified the paper and the days of work."
        )
    )

    def __init__(
        self,
        *args: Any,
        people: PersonQuerySet,
        scopes: QuerySet[Scope],
        revisions: QuerySet[SchemeRevision],
        show: Callable[["ElsewhereForm"], Shown],
        is_signing: bool,
        now: datetime,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, showing=Shown("", now), **kwargs)
        self._show_facts, self.is_signing = show, is_signing
        self.coming: IfEntered | None = None
        person = self.fields["person"]
        assert isinstance(person, PersonField)  # noqa: S101
        person.offer(people, "people-here")
        self.fields["scope"].queryset = scopes  # type: ignore[attr-defined]
        self.fields["revision"].queryset = revisions  # type: ignore[attr-defined]
        self.fields["document"].widget.attrs["accept"] = "application/pdf,image/*"
        if not is_signing:
            for name in TYPED_AT_THE_END:
                self.fields[name].required = False
        self.helper = form_helper(
            "person",
            Div("scope", "revision", css_class="fields-row"),
            Div("issuer", "number", css_class="fields-row"),
            Div("issued_on", "ends_on", css_class="fields-row"),
            "restriction",
            Div("work", "work_reference", css_class="fields-row"),
        )

    def clean(self) -> dict[str, Any]:
        cleaned = self.cleaned_data
        scope, revision = cleaned.get("scope"), cleaned.get("revision")
        if scope and revision and not revision.scopes.filter(pk=scope.pk).exists():
            self.add_error(
                "revision",
                _now("%(scheme)s does not cover %(scope)s.") % {"scheme": revision, "scope": scope},
            )
        if not self.facts_fit:
            return cleaned
        try:
            self._show(self._show_facts(self))
        except ValidationError as error:
            self.add_error(None, error)
            return cleaned
        return super().clean() if self.is_signing else cleaned

    @property
    def facts_fit(self) -> bool:
        """Whether all is there, and fits, that the standing follows from."""
        facts = (*FACTS, "ends_on", "restriction", "work", "work_reference")
        return all(self.cleaned_data.get(name) for name in FACTS) and not any(
            name in self.errors for name in facts
        )

    @property
    def lacks(self) -> Sequence[str]:
        """Labels of what has to be filled in before the standing can be said."""
        return [
            str(self.fields[name].label)
            for name in FACTS
            if not self.data.get(self.add_prefix(name))
        ]

    @property
    def said_of_facts(self) -> list[str]:
        """What is wrong with what was typed, but for what was left empty."""
        typed = [name for name in self.fields if self.data.get(self.add_prefix(name))]
        messages = [text for name in typed for text in self.errors.get(name, ())]
        return [*messages, *self.non_field_errors()]

    def paper(self) -> OutsideCertificate:
        """The paper with its document, of a form that was valid and signed."""
        upload = self.cleaned_data["document"]
        return replace(self.paper_without_document(), document=Document(upload.name, upload.read()))

    def paper_without_document(self) -> OutsideCertificate:
        """What the paper says, of a form whose facts fit."""
        data = self.cleaned_data
        return OutsideCertificate(
            issuer=data["issuer"],
            number=data["number"],
            issued_on=data["issued_on"],
            document=Document("", b""),
            ends_on=data["ends_on"],
            work=tuple(data["work"]),
            work_reference=data["work_reference"],
        )
