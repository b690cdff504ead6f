"""Labels to stick on boards, as a PDF: serial number, a code that opens the board, whose, what."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _

from assessments.models import Board
from people.presenters import paper
from people.presenters.days import format_page_day

SOURCE = Path(__file__).parent / "print" / "labels.typ"


@dataclass(frozen=True, slots=True)
class Label:
    """A board, and the address that the code on its label opens."""

    board: Board
    address: str


def labels_of(boards: Sequence[Board]) -> list[Label]:
    return [
        Label(board, settings.PUBLIC_URL + reverse("assessments:board_detail", args=[board.number]))
        for board in boards
    ]


def texts_on_labels(labels: Sequence[Label]) -> list[str]:
    """What people typed and the labels say."""
    texts = ((label.board.person.full_name, label.board.exercise.title) for label in labels)
    return [text for pair in texts for text in pair]


def labels_pdf(labels: Sequence[Label], *, at: datetime) -> bytes:
    """Set labels on sheets of 24, in their order.

    Whose name no face here can print is named by number, and the label says so.
    """
    data = {
        "title": _("Labels"),
        "printed_utc": list(at.astimezone(UTC).timetuple()[:6]),
        "labels": [_label(label) for label in labels],
    }
    zone = labels[0].board.site.time_zone if labels else ""
    return paper.typeset(SOURCE, data, zone=zone)


def _label(label: Label) -> dict[str, str]:
    board = label.board
    name = paper.name_or_notice(board.person.full_name)
    printed = paper.is_printed(board.person.full_name)
    return {
        "number": board.number,
        "name": name if printed else board.person.employee_number,
        "person": "" if printed else name,
        "exercise": paper.isolated(board.exercise.title),
        "purpose": f"{board.get_purpose_display()}, {format_page_day(board.handed_out_on)}",
        "code": _("Code that opens board %(number)s") % {"number": board.number},
        "qr": paper.qr(label.address),
    }
