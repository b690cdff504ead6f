"""The bench sheet of an exercise or of a board of it: what to do, with what, and what counts.

A tagged PDF on A4. Its code opens the exercise, or the board, on the phone at the bench.
"""

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.models import Criterion
from people.models import Installation
from people.presenters import drawings, paper, quantities
from people.presenters.days import format_instant, format_page_day
from training.content.cautions import CLOSING
from training.presenters import exercise_page
from training.presenters.exercise_page import StepShown

from .criterion_drawings import file_of
from .exercise_shown import ExerciseShown
from .judgement_words import criterion_limits

VERDICT = re.compile(rb'<(?:circle|path) class="d-(?:accept|reject)"[^>]*/>')
SOURCE = Path(__file__).parent / "print" / "bench_sheet.typ"


def bench_sheet(shown: ExerciseShown, *, at: datetime) -> bytes:
    """Set a bench sheet as a PDF; the same at the same instant gives the same bytes."""
    board = shown.board
    zone = board.site.time_zone if board else timezone.get_current_timezone_name()
    with TemporaryDirectory(prefix="bench-sheet-") as folder:
        data = _Data(shown, Path(folder)).all(at, zone)
        return paper.typeset(SOURCE, data, zone=zone, folder=Path(folder))


class _Data:
    """The sheet as plain values, its drawings as files in a folder."""

    def __init__(self, shown: ExerciseShown, folder: Path) -> None:
        self.shown = shown
        self.exercise = shown.exercise
        self.folder = folder
        self.files: dict[str, str] = {}

    def all(self, at: datetime, zone: str) -> dict[str, Any]:
        exercise, board = self.exercise, self.shown.board
        revision = _("rev. %(revision)s") % {"revision": exercise.revision}
        made = self.shown.made
        return {
            "printed_utc": list(at.astimezone(UTC).timetuple()[:6]),
            "organisation": Installation.current().organisation,
            "title": exercise.title,
            "what": board.number if board else exercise.code,
            "running": f"{exercise.code}, {revision}",
            "state": self._state(),
            "purpose": exercise.purpose,
            "summary": exercise.summary,
            "drawing": self._file(exercise.drawing),
            "drawing_says": drawings.title_of(exercise.drawing) if exercise.drawing else "",
            "stages": [
                {"name": _capital(stage.label), "steps": [self._step(step) for step in steps]}
                for stage, steps in self.shown.stages
            ],
            "tools": [tool["name"] for tool in exercise_page.tools_with_kinds(exercise)],
            "positions": list(self._positions()),
            "cautions": [[caution.title, caution.brief] for caution in self.shown.cautions],
            "judged": [
                {"name": _capital(stage.label), "criteria": [_criterion(one) for one in criteria]}
                for stage, criteria in self.shown.criteria
            ],
            "made": str(made) if made else "",
            "unconfirmed": self._unconfirmed(),
            "rules": list(self._rules()),
            "plate": self._plate(),
            "address": self._address(),
            "qr": paper.qr(self._address()),
            "printed": _("Printed %(instant)s") % {"instant": format_instant(at, zone)},
            "close": _(CLOSING),
            "words": self._words(),
        }

    def _state(self) -> str:
        if self.exercise.is_draft:
            return _("Draft: no board is handed out of it yet.")
        if self.exercise.retired_at is not None and self.shown.board is None:
            return _("Out of use.")
        return ""

    def _step(self, step: StepShown) -> dict[str, Any]:
        drawing = self.shown.drawing_of(step)
        file = self._file(drawing.name) if drawing else None
        word = {"accept": _("Accept"), "reject": _("Reject")}.get(drawing.shows if drawing else "")
        return {
            "number": step.number,
            "text": step.step.text,
            "drawing": file,
            "shows": drawing.shows if drawing else "",
            "word": word or "",
            "says": drawing.title if drawing else "",
            "cautions": [
                [_("Caution: %(title)s.") % {"title": caution.title}, caution.brief]
                for caution in step.cautions
            ],
        }

    def _file(self, name: str) -> str | None:
        if name and name not in self.files:
            file = file_of(name)
            self.files[name] = ""
            if file is not None:
                ending, content = file
                self.files[name] = f"{len(self.files)}.{ending}"
                (self.folder / self.files[name]).write_bytes(_without_verdict(content))
        return self.files.get(name) or None

    def _positions(self) -> Iterator[list[str]]:
        """Each run that is made alike: names, joint, wire, d, D, forming and clearance."""
        for run in exercise_page.position_runs(self.shown.positions):
            first = run.first
            names = first.name
            if run.count > 1:
                names = _("%(first)s to %(last)s") % {"first": names, "last": run.last.name}
            if not first.required:
                names = f"{names}, {_('spare')}"
            wire = [
                f"{first.wires} ×" if first.wires > 1 else "",
                f"AWG {first.wire_awg}" if first.wire_awg is not None else "",
                first.stranding,
                first.insulation,
            ]
            diameters = [
                quantities.format_decimal(value) if value is not None else "–"
                for value in (first.conductor_mm, first.overall_mm)
            ]
            forming = "; ".join(filter(None, (first.forming, first.clearance)))
            joint = str(first.get_joint_type_display())
            yield [names, joint, " ".join(filter(None, wire)), *diameters, forming]

    def _unconfirmed(self) -> str:
        criteria = [criterion for _stage, asked in self.shown.criteria for criterion in asked]
        n = sum(not criterion.is_verified for criterion in criteria)
        if not n:
            return ""
        return ngettext(
            "%(n)d of these criteria has not been compared with its document here.",
            "%(n)d of these criteria have not been compared with their documents here.",
            n,
        ) % {"n": n}

    def _rules(self) -> Iterator[str]:
        exercise = self.exercise
        required = sum(position.required for position in self.shown.positions)
        yield ngettext(
            "%(n)s joint is judged, none missing.",
            "All %(n)s required joints are judged, none missing.",
            required,
        ) % {"n": required}
        yield _("Nothing critical is rejected.")
        allowed = exercise.allowed_rejects
        if allowed:
            yield ngettext(
                "At most %(n)s joint is rejected.", "At most %(n)s joints are rejected.", allowed
            ) % {"n": allowed}
        else:
            yield _("No joint is rejected.")
        if exercise.rework_allowed:
            yield ngettext(
                "A joint may be reworked once; its last attempt counts.",
                "A joint may be reworked %(n)s times; its last attempt counts.",
                exercise.rework_allowed,
            ) % {"n": exercise.rework_allowed}
        yield _("The score is %(mark)s or more.") % {
            "mark": quantities.format_decimal(exercise.pass_mark)
        }
        if exercise.graders > 1:
            yield _("Two graders judge it, each without seeing the other’s judgements.")
        if exercise.photographs_wanted:
            yield _("Photographs of the joints are asked for.")

    def _plate(self) -> list[list[str]]:
        board = self.shown.board
        if board is None:
            blank = [_("Name"), _("Board"), _("Date")]
            return [[label, ""] for label in blank]
        person = board.person
        return [
            [_("Name"), f"{paper.name_or_notice(person.full_name)}, {person.employee_number}"],
            [_("Board"), board.number],
            [_("Handed out"), format_page_day(board.handed_out_on)],
        ]

    def _address(self) -> str:
        board = self.shown.board
        if board is not None:
            return settings.PUBLIC_URL + reverse("assessments:board_detail", args=[board.number])
        return settings.PUBLIC_URL + reverse("training:exercise_detail", args=[self.exercise.code])

    def _words(self) -> dict[str, str]:
        return {
            "sheet": _("Bench sheet"),
            "tools": _("Tools"),
            "positions": _("Positions"),
            "position": _("Position"),
            "joint": _("Joint"),
            "wire": _("Wire"),
            "forming": _("Forming"),
            "cautions": _("Cautions"),
            "judged": _("What will be judged"),
            "code": _("Code"),
            "criterion": _("Criterion"),
            "limit": _("Limit"),
            "severity": _("Severity"),
            "none_judged": _("No criteria are published yet, so nothing can be judged."),
            "no_steps": _("Judged, without steps of its own."),
            "rules": _("When the board passes"),
            "alloy": _("Solder alloy"),
            "alloy_is": self.shown.alloy,
            "qr": _("Code that opens board %(number)s") % {"number": self.shown.board.number}
            if self.shown.board
            else _("Code that opens exercise %(code)s") % {"code": self.exercise.code},
            "scan": _("On the phone at the bench:"),
            "newest": _("What the page says holds where it is newer than this paper."),
            "page": _("Page {n} of {all}"),
        }


def _without_verdict(drawing: bytes) -> bytes:
    """A drawing without the disc or the cross in its corner: beside a step a word says it."""
    return VERDICT.sub(b"", drawing)


def _criterion(criterion: Criterion) -> list[str]:
    of_board = criterion.of == Criterion.Of.BOARD
    title = f"{criterion.title}, {_('of the board')}" if of_board else criterion.title
    return [
        criterion.code,
        title,
        criterion_limits(criterion),
        str(criterion.get_severity_display()),
        criterion.severity,
    ]


def _capital(label: Any) -> str:
    text = str(label)
    return text[:1].upper() + text[1:]
