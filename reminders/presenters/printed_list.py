"""The list of those whom no mail reaches, as a PDF to carry round."""

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from django.utils.translation import gettext as _

from people.models import Site
from people.presenters import paper
from people.presenters.days import format_instant

from .reminder_pages import PrintedListEntry

SOURCE = Path(__file__).parent / "print" / "printed_list.typ"


def texts_on_list(site: Site, entries: Sequence[PrintedListEntry]) -> list[str]:
    """What people typed and the list says."""
    texts = [site.name]
    for entry in entries:
        texts += [entry.person.full_name, *entry.lines]
        if entry.lead:
            texts.append(entry.lead.full_name)
    return texts


def printed_list_pdf(site: Site, entries: Sequence[PrintedListEntry], *, at: datetime) -> bytes:
    """Set the list on A4; a name that cannot be printed is a notice above its number."""
    data = {
        "title": _("Printed list"),
        "site": site.name,
        "printed_utc": list(at.astimezone(UTC).timetuple()[:6]),
        "printed": _("Printed %(instant)s") % {"instant": format_instant(at, site.time_zone)},
        "people": [
            (
                paper.name_or_notice(entry.person.full_name),
                entry.person.employee_number,
                entry.lines,
                _through(entry),
            )
            for entry in entries
        ],
        "words": {
            "what": _(
                "No mail reaches these people. Their line lead was written to; print this, tell "
                "them, and have an address entered where there is one."
            ),
            "told": _("Told on:"),
            "page": _("Page {n} of {all}"),
        },
    }
    return paper.typeset(SOURCE, data, zone=site.time_zone)


def _through(entry: PrintedListEntry) -> str:
    if entry.lead is None:
        return _("No line lead with an address: tell them yourself.")
    name = paper.name_or_notice(entry.lead.full_name)
    return f"{_('Line lead:')} {name} ({entry.lead.employee_number})"
