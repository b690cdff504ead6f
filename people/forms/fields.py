"""Fields that several forms share: days, rows, and people given by number or name."""

from typing import Any, Literal

from allauth.core import context as allauth_context
from crispy_forms.helper import FormHelper
from crispy_forms.layout import Layout
from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import (
    MaxLengthValidator,
    ProhibitNullCharactersValidator,
    RegexValidator,
)
from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from people.access import ROW_NUMBER
from people.domain.codes import CODE
from people.models import Person, User
from people.models.people import PersonQuerySet
from people.services.proof import Asked, Given, proof_asked
from people.services.provider_links import PROVIDER_TICKET, is_good_ticket

SUGGESTED_PEOPLE = 200
MAX_PROOF_LENGTH = 8000  # The longest is what a browser says with a passkey.
validate_no_null_characters = ProhibitNullCharactersValidator()
validate_length = MaxLengthValidator(MAX_PROOF_LENGTH)

# What can stand in an address without being written out.
code_validator = RegexValidator(
    CODE,
    _("Use letters, digits, dots, hyphens and underscores, a letter or digit first."),
)


def form_helper(*parts: Any) -> FormHelper:
    """How a form is laid out inside a page's own form element."""
    helper = FormHelper()
    helper.form_tag = False
    helper.disable_csrf = True
    helper.layout = Layout(*parts)
    return helper


class RowsField(forms.ModelMultipleChoiceField):
    """Several rows by their numbers; one that is longer than any is not among the choices."""

    def clean(self, value: Any) -> Any:
        for each in value or ():
            text = str(each)
            if text.isdecimal() and not ROW_NUMBER.fullmatch(text):
                raise ValidationError(
                    self.error_messages["invalid_choice"],
                    code="invalid_choice",
                    params={"value": f"{text[:20]}…"},
                )
        return super().clean(value)


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self, attrs: dict | None = None) -> None:
        super().__init__(attrs, format="%Y-%m-%d")


class ProofInput(forms.PasswordInput):
    """A password, and beside it what else the reader is asked for as proof.

    Who reads is taken from the request that is being answered, so that no form and no view has to
    hand it on, and none can forget to.
    """

    asks: Literal["as the site does", "all", "code", "password"] = "as the site does"

    def asked(self) -> Asked:
        user = getattr(allauth_context.request, "user", None)
        if not isinstance(user, User) or self.asks == "password":
            return Asked()
        asked = proof_asked(user, of_factors=self.asks in ("all", "code"))
        # Tablets that several people use hold nobody's passkey.
        return Asked(code=asked.code) if self.asks == "code" else asked

    def render(self, name: str, value: Any, attrs: Any = None, renderer: Any = None) -> SafeString:
        password = super().render(name, None, attrs, renderer)
        asked = self.asked()
        context = {
            "asked": asked,
            "name": name,
            "id": (attrs or {}).get("id", name),
            "ticket": _ticket() if asked.provider else "",
            "provider_name": settings.OIDC_NAME,
        }
        return password + render_to_string("people/partials/proof.html", context)

    def value_from_datadict(self, data: Any, files: Any, name: str) -> Given:
        return Given(
            password=data.get(name, ""),
            code=data.get(f"{name}_code", ""),
            passkey=data.get(f"{name}_passkey", ""),
            provider=data.get(f"{name}_provider", ""),
        )


def _ticket() -> str:
    """What the session holds of a fresh sign-in at the provider that is good and not used."""
    request = allauth_context.request
    ticket = request.session.get(PROVIDER_TICKET, "")
    return ticket if is_good_ticket(request.user, ticket, timezone.now()) else ""


class PasswordField(forms.Field):
    """What proves who signs: the signer's own password, with a code where their site asks for one.

    A passkey takes the place of both, and a fresh sign-in at the provider that of the password.

    What was typed comes back as `people.services.proof.Given`.
    """

    def __init__(self, *, of_factors: bool = False, **kwargs: Any) -> None:
        super().__init__(
            **{
                "label": _("Your password"),
                "widget": ProofInput(attrs={"autocomplete": "current-password"}),
                "help_text": _("Typed again, it is your signature."),
                **kwargs,
            }
        )
        assert isinstance(self.widget, ProofInput)  # noqa: S101
        if of_factors:
            self.widget.asks = "all"

    def clean(self, value: Given) -> Given:
        if self.required and not (value.password or value.passkey or value.provider):
            raise ValidationError(self.error_messages["required"], code="required")
        for text in (value.password, value.code, value.passkey, value.provider):
            validate_no_null_characters(text)
            validate_length(text)
        return value


class PersonField(forms.CharField):
    """Somebody given by employee number, or by a name that nobody else has.

    ``people`` is who may be meant; a page offers `suggestions` in a list named after the field.
    """

    people: PersonQuerySet

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 120)
        kwargs.setdefault("help_text", _("Employee number, or the name if nobody else has it."))
        super().__init__(**kwargs)
        self.people = Person.objects.none()

    def offer(self, people: PersonQuerySet, list_id: str) -> None:
        self.people = people
        self.widget.attrs |= {"list": list_id, "autocomplete": "off"}

    @property
    def suggestions(self) -> QuerySet[Person]:
        return self.people.order_by("full_name", "employee_number")[:SUGGESTED_PEOPLE]

    def prepare_value(self, value: Any) -> Any:
        return value.employee_number if isinstance(value, Person) else value

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        return find_person(text, self.people) if text else None


def find_person(text: str, people: PersonQuerySet) -> Person:
    """The one person meant by a number or a name; raise ValidationError for none or several."""
    by_number = people.with_number(text)
    if by_number is not None:
        return by_number
    matches = list(people.filter(full_name__iexact=text)[:6]) or list(
        people.filter(full_name__icontains=text)[:6]
    )
    if not matches:
        raise ValidationError(
            _now("Nobody whom you may choose has the number or name %(said)s. Look under People."),
            params={"said": text},
        )
    if len(matches) > 1:
        names = ", ".join(f"{match.full_name} {match.employee_number}" for match in matches[:5])
        raise ValidationError(
            _now("Several people are meant by that: %(people)s. Give the number."),
            params={"people": names},
        )
    return matches[0]
