"""A certificate on paper: a tagged PDF of A4 with a code to its public page.

The same certificate printed at the same instant gives the same bytes. Everything on it that is
not a picture is text, so 300 dpi or any other printer sets it as sharp as it can.
"""

from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.models import Board
from assessments.presenters.criterion_drawings import file_of
from certification.domain.public_standing import PublicStanding
from certification.exceptions import NothingToPrint
from certification.models import Certificate
from certification.queries.public_standing import standing_of
from people.models import Installation
from people.presenters import paper
from people.presenters.days import format_day, format_instant
from records.queries.heads import printed_head
from training.models import JointType

from .public_words import STATES

SOURCE = Path(__file__).parent / "print" / "certificate.typ"
MOST_DRAWINGS = 3
DRAWINGS = {"turret": "turret-wrap-side"}  # Others have one of their exercise.
MOST_BOARDS = 6
HASH_GROUP = 4


def certificate_pdf(certificate: Certificate, *, code: str, at: datetime) -> bytes:
    """Set a certificate on A4. One that does not stand on the day says so in a frame.

    Parameters
    ----------
    code : str
        That opens its public page (`services.public_codes.code_of`).

    Raises
    ------
    NothingToPrint
        If it comes from elsewhere: its paper is the document that came with it.
    """
    if certificate.origin == Certificate.Origin.ELSEWHERE:
        raise NothingToPrint(
            _("The paper of %(number)s is the document that came with it.")
            % {"number": certificate.number}
        )
    zone = certificate.person.site.time_zone
    with TemporaryDirectory(prefix="certificate-") as folder:
        data = _data(certificate, code, Path(folder), at)
        return paper.typeset(SOURCE, data, zone=zone, folder=Path(folder))


def texts_on_certificate(certificate: Certificate) -> tuple[str, ...]:
    """What people typed and the paper says."""
    scope = certificate.scope
    return (
        Installation.current().organisation,
        certificate.printed_name,
        certificate.person.site.name,
        scope.title,
        scope.document,
        certificate.restriction,
        certificate.scheme_revision.name,
        certificate.issued_by,
    )


def public_address(certificate: Certificate, code: str) -> str:
    """Where anybody learns whether it stands today."""
    named = reverse("certification:public_certificate", args=[certificate.number, code])
    return settings.PUBLIC_URL + named


def _data(certificate: Certificate, code: str, folder: Path, at: datetime) -> dict[str, Any]:
    person, scope = certificate.person, certificate.scope
    standing = standing_of(certificate, at)
    through = standing.good_through or certificate.valid_through
    return {
        "title": _("Certificate %(number)s") % {"number": certificate.number},
        "organisation": Installation.current().organisation,
        "site": person.site.name,
        "number": certificate.number,
        "name": paper.name_or_notice(certificate.printed_name),
        "state": _state(standing, at, person.site.time_zone),
        "shown": _(
            "employee number %(number)s, has shown, by joints made and judged, the skill to do "
            "this work by hand:"
        )
        % {"number": person.employee_number},
        "scope": scope.title,
        "allows": _("From %(first)s through %(last)s.")
        % {"first": format_day(certificate.issued_on), "last": format_day(through)},
        "restriction": standing.restriction or certificate.restriction,
        "drawings": _drawings(scope.joint_types, folder),
        "facts": _facts(certificate),
        "evidence": _evidence(certificate),
        "signature": _signature(certificate),
        "hash": _hash(certificate),
        "typed_at": settings.PUBLIC_URL.split("//")[1] + reverse("certification:public_check"),
        "code": code,
        "qr": paper.qr(public_address(certificate, code)),
        "printed": _("Printed %(instant)s")
        % {"instant": format_instant(at, person.site.time_zone)},
        "printed_utc": list(at.astimezone(UTC).timetuple()[:6]),
        "trail": printed_head(at),
        "words": {
            "certificate": _("Certificate"),
            "only": _("Only:"),
            "facts": _("What it says"),
            "evidence": _("What it stands on"),
            "signed": _("Signed"),
            "check": _("Does it stand today?"),
            "scan": _("Scan the code, or open this address and type number and code:"),
            "number": _("Number"),
            "code": _("Code"),
            "qr": _("Code that opens the public page of certificate %(number)s")
            % {"number": certificate.number},
            "keeps": _(
                "This paper says what was so when it was printed. A suspension, a lapsed vision "
                "test or a gap in the work ends it sooner. Follow the governing standard and "
                "your local rules."
            ),
            "trail": _("Trail"),
            "page": _("Page {n} of {all}"),
        },
    }


def _state(standing: PublicStanding, at: datetime, zone: str) -> str:
    if standing.stands:
        return ""
    return f"{format_instant(at, zone)}: {STATES[standing.state]}"


def _drawings(joint_types: list[str], folder: Path) -> list[list[str]]:
    """A drawing of each kind of joint, the first of them, with its name."""
    shown: list[list[str]] = []
    for joint_type in joint_types:
        drawing = DRAWINGS.get(joint_type, f"exercise-{joint_type}")
        file = file_of(drawing)
        if file is None or len(shown) == MOST_DRAWINGS:
            continue
        ending, content = file
        name = f"{joint_type}.{ending}"
        (folder / name).write_bytes(content)
        shown.append([name, str(JointType(joint_type).label)])
    return shown


def _facts(certificate: Certificate) -> list[list[str]]:
    figures = certificate.scheme_revision
    keeps = []
    if figures.vision_months:
        keeps.append(
            ngettext(
                "vision test every month", "vision test every %(n)d months", figures.vision_months
            )
            % {"n": figures.vision_months}
        )
    if figures.max_absence_months:
        keeps.append(
            ngettext(
                "no gap in the work over %(n)d month",
                "no gap in the work over %(n)d months",
                figures.max_absence_months,
            )
            % {"n": figures.max_absence_months}
        )
    facts = [
        [_("Issued on"), format_day(certificate.issued_on)],
        [_("Good through, as issued"), format_day(certificate.valid_through)],
        [_("Renews"), certificate.renews.number if certificate.renews else "–"],
        [_("Scheme"), certificate.scheme_revision.name],
        [_("Governing document"), certificate.scope.document or "–"],
        [_("Level"), str(certificate.scope.get_level_display())],
    ]
    if keeps:
        facts.append([_("What keeps it alive"), "; ".join(keeps)])
    return facts


def _evidence(certificate: Certificate) -> list[str]:
    purposes = dict(Board.Purpose.choices)
    boards = certificate.evidence.get("boards", [])
    lines = [
        _("%(number)s, %(purpose)s: %(accepted)d of %(joints)d joints accepted, score %(score)s")
        % {
            "number": board["number"],
            "purpose": purposes.get(board["purpose"], board["purpose"]),
            "accepted": board["joints"] - board["rejected"],
            "joints": board["joints"],
            "score": board["score"] or "–",
        }
        for board in boards[:MOST_BOARDS]
    ]
    more = len(boards) - MOST_BOARDS
    if more > 0:
        lines.append(ngettext("and %(n)d more board", "and %(n)d more boards", more) % {"n": more})
    if certificate.origin == Certificate.Origin.IMPORTED:
        lines.append(_("Brought over from an earlier register."))
    return lines


def _signature(certificate: Certificate) -> str:
    signature = certificate.signature
    if signature is None:
        return _("Issued by %(by)s, before this register; not signed here.") % {
            "by": certificate.issued_by or "–"
        }
    instant = format_instant(signature.signed_at, signature.zone)
    by = signature.printed_name
    if certificate.issuer_certificate:
        by = f"{by} ({certificate.issuer_certificate})"
    return f"{signature.meaning}: {by}, {instant}"


def _hash(certificate: Certificate) -> str:
    if certificate.signature is None:
        return ""
    text = certificate.signature.content_sha256
    return " ".join(text[at : at + HASH_GROUP] for at in range(0, len(text), HASH_GROUP))
