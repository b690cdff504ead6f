"""What the page lists that signs everything its reader has judged."""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from itertools import islice

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.access import boards_gradable_by
from assessments.exceptions import MayNotGrade
from assessments.models import Board, Judgement, Photo
from assessments.queries import board_results
from assessments.queries.judged_stages import JudgedStage, judged_stages
from assessments.services.grading import refuse_unless_may_grade
from people.models import User
from records.domain.shown import Shown

from .grading_page import reading_url
from .judgement_words import joint_name, kind_shown, measured_shown, plain
from .stage_shown import stage_shown

MOST_STAGES = 60
"""How many stages one page lists: a class of twelve with four stages each, and a fifth more."""

THUMBNAILS = 4

How = Judgement.How


@dataclass(frozen=True, slots=True)
class Reject:
    """A rejected judgement in words."""

    title: str
    place: str
    kind: str
    reading: str
    note: str


@dataclass(frozen=True, slots=True)
class StageRow:
    """One stage in full; `why_not` says why it cannot be signed yet, `shown` is there if it can."""

    judged: JudgedStage
    url: str
    counts: Counter[str]
    rejects: tuple[Reject, ...]
    how: str
    photos: tuple[Photo, ...]
    photo_count: int
    why_not: str = ""
    why_not_url: str = ""
    shown: Shown | None = None

    @property
    def key(self) -> str:
        return self.judged.key

    @property
    def board(self) -> Board:
        return self.judged.grading.board


@dataclass(frozen=True, slots=True)
class StagesPage:
    """Every stage that its reader has judged and not signed; `is_cut` says whether more follow."""

    rows: tuple[StageRow, ...]
    is_cut: bool

    @property
    def showing(self) -> dict[str, Shown]:
        """What can be signed, as it is shown."""
        return {row.key: row.shown for row in self.rows if row.shown is not None}

    @property
    def boards(self) -> int:
        return len({row.board.pk for row in self.rows})

    @property
    def criteria_sets(self) -> list[str]:
        return sorted({str(row.judged.grading.criteria_set) for row in self.rows})

    @property
    def judged(self) -> dict[str, JudgedStage]:
        return {row.key: row.judged for row in self.rows}


def stages_page(user: User, now: datetime) -> StagesPage:
    """What one grader has judged and not signed, as it is now."""
    found = list(islice(judged_stages(user, boards_gradable_by(user)), MOST_STAGES + 1))
    refusals: dict[int, str] = {}
    rows = []
    for judged in found[:MOST_STAGES]:
        board = judged.grading.board
        if board.exercise_id not in refusals:
            refusals[board.exercise_id] = _refusal(user, board, now)
        rows.append(_row(judged, now, refusals[board.exercise_id]))
    return StagesPage(tuple(rows), len(found) > MOST_STAGES)


def _refusal(user: User, board: Board, now: datetime) -> str:
    try:
        refuse_unless_may_grade(user, board, now)
    except MayNotGrade as error:
        return str(error)
    return ""


def _row(judged: JudgedStage, now: datetime, refusal: str) -> StageRow:
    board, stage = judged.grading.board, judged.stage.value
    photos = [photo for photo in board.photos.all() if photo.stage in ("", stage)]
    why_not = refusal or _why_not(judged)
    return StageRow(
        judged=judged,
        url=reading_url(board, False, stage=stage),
        counts=Counter(judgement.outcome for judgement in judged.judgements),
        rejects=tuple(_reject(row) for row in _in_order(judged) if _is_reject(row)),
        how=_how(judged),
        photos=tuple(photos[:THUMBNAILS]),
        photo_count=len(photos),
        why_not=why_not,
        why_not_url=reverse("assessments:board_detail", args=[board.number])
        if refusal
        else reading_url(board, False, stage=stage),
        shown=None
        if why_not
        else stage_shown(judged.grading, stage, now, judged.summary, judged.judgements),
    )


def _why_not(judged: JudgedStage) -> str:
    """Why a stage cannot be signed yet, though some of it is judged."""
    if missing := judged.summary.missing:
        return _("These joints are asked for and missing: %(names)s.") % {
            "names": ", ".join(missing)
        }
    if open_places := judged.summary.open_places:
        return ngettext(
            "Cannot be signed yet: one judgement is open. %(places)s.",
            "Cannot be signed yet: %(n)d judgements are open. %(places)s.",
            len(open_places),
        ) % {"n": len(open_places), "places": board_results.shortened(open_places)}
    if judged.before is not None:
        return _("Cannot be signed yet: the stage “%(before)s” comes first and is not judged.") % {
            "before": judged.before.label
        }
    return ""


def _in_order(judged: JudgedStage) -> list[Judgement]:
    return sorted(
        judged.judgements,
        key=lambda row: (
            row.joint is None,
            row.joint.position.order if row.joint else 0,
            row.criterion.order,
        ),
    )


def _is_reject(judgement: Judgement) -> bool:
    return judgement.outcome == Judgement.Outcome.REJECT


def _reject(judgement: Judgement) -> Reject:
    return Reject(
        title=judgement.criterion.title,
        place=joint_name(judgement.joint) if judgement.joint else _("whole board"),
        kind=kind_shown(judgement.criterion),
        reading=measured_shown(judgement, judgement.criterion.unit),
        note=judgement.note,
    )


def _how(judged: JudgedStage) -> str:
    """By which means a stage was judged, in a sentence without its end."""
    rows = judged.judgements
    joints = len({row.joint_id for row in rows if row.joint_id is not None})
    parts = [ngettext("%(n)d joint", "%(n)d joints", joints) % {"n": joints}]
    if at_board := [row for row in rows if row.how == How.AT_BOARD]:
        magnifications = sorted({row.magnification for row in at_board if row.magnification})
        if magnifications:
            through = ", ".join(f"{plain(each)}×" for each in magnifications)
            parts.append(_("with the board in hand at %(through)s") % {"through": through})
        else:
            parts.append(_("with the board in hand"))
    if any(row.how == How.PHOTOGRAPH for row in rows):
        parts.append(_("from photographs"))
    if marked := {row.criterion.title for row in rows if row.how == How.MARKS}:
        parts.append(_("%(what)s by marks") % {"what": ", ".join(sorted(marked))})
    read = {(row.criterion.title, row.tool.code) for row in rows if row.tool is not None}
    for what, tool in sorted(read):
        parts.append(_("%(what)s with %(tool)s") % {"what": what, "tool": tool})
    if with_the_rest := sum(row.with_the_rest for row in rows):
        parts.append(
            ngettext(
                "%(n)d judgement accepted with the rest",
                "%(n)d judgements accepted with the rest",
                with_the_rest,
            )
            % {"n": with_the_rest}
        )
    return ", ".join(parts)
