"""Letters and cards with a code, as one PDF: each in the language of whom it is for."""

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from people.models import Installation, Person, User
from people.queries.languages import in_language, language_of
from people.services.sign_in_codes import Draft

from . import paper
from .days import format_instant

FOLDER = Path(__file__).parent / "print"
LETTERS, CARDS = "letters", "cards"


def code_address(number: str, code: str) -> str:
    """Where a code leads; what follows # stays in the browser, and is in no log on the way."""
    said = urlencode({"number": number, "code": code})
    return f"{settings.PUBLIC_URL}{reverse('people:printed_code')}#{said}"


def texts_on_letters(people: Sequence[Person]) -> list[str]:
    """What people typed and the letters say."""
    organisation = Installation.current().organisation
    return [organisation, *(text for one in people for text in (one.full_name, one.site.contact))]


def letters_pdf(drafts: Sequence[Draft], *, kind: str, actor: User, at: datetime) -> bytes:
    """Set one page or card for each, in their order, as a tagged PDF."""
    organisation = Installation.current().organisation
    data = {
        "title": _("Letters to sign in by"),
        "printed_utc": list(at.astimezone(UTC).timetuple()[:6]),
        "organisation": organisation,
        "letters": [_letter(draft, actor, at) for draft in drafts],
    }
    source = FOLDER / ("sign_in_cards.typ" if kind == CARDS else "sign_in_letters.typ")
    zone = drafts[0].person.site.time_zone if drafts else ""
    return paper.typeset(source, data, zone=zone)


def _letter(draft: Draft, actor: User, at: datetime) -> dict[str, Any]:
    person, site = draft.person, draft.person.site
    page = settings.PUBLIC_URL + reverse("people:printed_code")
    with in_language(language_of(person)):
        until = format_instant(draft.expires_at, site.time_zone)
        return {
            "language": (get_language() or "en")[:2],
            "name": paper.name_or_notice(person.full_name),
            "number": person.employee_number,
            "site": site.name,
            "page": page,
            "code": draft.code,
            "pin": draft.pin,
            "qr": paper.qr(code_address(person.employee_number, draft.code)),
            "badge": paper.qr(person.employee_number),
            "contact": site.contact,
            "words": _words(until, actor, at, site.time_zone),
        }


def _words(until: str, actor: User, at: datetime, zone: str) -> dict[str, str]:
    return {
        "title": _("How you sign in"),
        "intro": _("With this paper you choose the password of your sign-in."),
        "scan": _("Scan this code with a telephone or tablet, or open"),
        "number": _("Employee number"),
        "code": _("Code"),
        "choose": _("Choose a password that you alone know. You are then signed in."),
        "until": _("Good until %(instant)s, once.") % {"instant": until},
        "care": _(
            "Whoever holds this paper can choose the password in your place. Use it soon, let "
            "nobody photograph it, and destroy it afterwards."
        ),
        "used": _("If the page says that the code was used, and not by you, tell this at once:"),
        "administrator": _("an administrator of your site"),
        "pin": _("First PIN"),
        "tablet": _(
            "At a shared tablet: scan the badge or type your number, then this PIN. You then "
            "choose your own."
        ),
        "badge": _("Badge for shared tablets: it stays yours. Cut it out."),
        "printed": _("Printed %(instant)s by %(name)s")
        % {"instant": format_instant(at, zone), "name": paper.name_on_its_own(str(actor), "")},
        "qr": _("Code that opens the page to choose a password"),
        "badge_qr": _("Code that says the employee number"),
    }
