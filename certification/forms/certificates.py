"""What is asked before somebody acts on a certificate, or enters one from elsewhere."""

from datetime import date
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from certification.models import SchemeRevision, Scope
from certification.services.certificates_from_elsewhere import Document, OutsideCertificate
from people.forms.fields import DayInput, PasswordField, PersonField, form_helper
from people.forms.signing import SigningForm
from people.models.people import PersonQuerySet


class ActForm(SigningForm):
    """The reason and the day of an act, and the signer's password."""

    effective_on = forms.DateField(label=_("From"), widget=DayInput)
    until = forms.DateField(label=_("New last day"), widget=DayInput)
    authority = forms.CharField(
        label=_("Granted by"),
        max_length=160,
        help_text=_("The person, committee or concession that granted it."),
    )
    restriction = forms.CharField(
        label=_("Restriction"),
        max_length=400,
        help_text=_(
            "What alone it allows, printed after “only”: such as cups for AWG 20 and less."
        ),
    )
    reason = forms.CharField(
        label=_("Reason"), max_length=400, widget=forms.Textarea(attrs={"rows": 2})
    )
    password = PasswordField()

    def __init__(
        self, *args: Any, asks: tuple[str, ...], day_label: Any = "", today: date, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        for name in ("effective_on", "until", "authority", "restriction"):
            if name not in asks:
                del self.fields[name]
        if "effective_on" in asks:
            self.fields["effective_on"].initial = today
            self.fields["effective_on"].label = day_label
        self.helper = form_helper(*(name for name in self.fields))


class IssueAgainForm(SigningForm):
    """Why certificates are issued again under another name."""

    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("Such as the register entry or document that you have seen."),
    )
    password = PasswordField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("shown", "reason", "password")


class ElsewhereForm(forms.Form):
    """A certificate that others issued: whose, for what, and the paper itself."""

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
    document = forms.FileField(
        label=_("The paper, scanned or photographed"),
        help_text=_("PDF, JPEG, PNG, TIFF, WebP or HEIC, up to 15 MB. It is kept as it comes."),
    )
    password = PasswordField(
        help_text=_("Typed again, it is your signature that you verified the paper.")
    )

    def __init__(
        self,
        *args: Any,
        people: PersonQuerySet,
        scopes: QuerySet[Scope],
        revisions: QuerySet[SchemeRevision],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        person = self.fields["person"]
        assert isinstance(person, PersonField)  # noqa: S101
        person.offer(people, "people-here")
        self.fields["scope"].queryset = scopes  # type: ignore[attr-defined]
        self.fields["revision"].queryset = revisions  # type: ignore[attr-defined]
        self.fields["document"].widget.attrs["accept"] = "application/pdf,image/*"
        self.helper = form_helper(
            "person",
            Div("scope", "revision", css_class="fields-row"),
            Div("issuer", "number", css_class="fields-row"),
            Div("issued_on", "ends_on", css_class="fields-row"),
            "restriction",
            "document",
            "password",
        )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        scope, revision = cleaned.get("scope"), cleaned.get("revision")
        if scope and revision and not revision.scopes.filter(pk=scope.pk).exists():
            self.add_error(
                "revision",
                _now("%(scheme)s does not cover %(scope)s.") % {"scheme": revision, "scope": scope},
            )
        return cleaned

    def paper(self) -> OutsideCertificate:
        data = self.cleaned_data
        upload = data["document"]
        return OutsideCertificate(
            issuer=data["issuer"],
            number=data["number"],
            issued_on=data["issued_on"],
            document=Document(upload.name, upload.read()),
            ends_on=data["ends_on"],
        )
