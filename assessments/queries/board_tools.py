"""With which tools a board may be made and judged, and which its maker is likely to have used."""

from collections.abc import Collection
from datetime import date, datetime

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from assessments.models import Board, Grading, Judgement
from people.models import User
from people.presenters.days import format_day
from training.models import Tool
from training.queries.tool_fitness import unfit

NEEDS_GOOD_TOOLS = (Board.Purpose.QUALIFICATION, Board.Purpose.REQUALIFICATION)
"""For these an unfit tool is refused; for anything else it is said beside the tool."""


def day_made(board: Board, at: datetime) -> date:
    """The day by which the tools of a board are judged: of its hand-in, else the one at hand."""
    return board.site.today(board.handed_in_at or at)


def shelf_of(board: Board) -> QuerySet[Tool]:
    """Tools that a board can name: in use at its site, or named by it already."""
    named = Board.tools.through.objects.filter(board=board.pk, tool=OuterRef("pk"))
    return Tool.objects.filter(
        Q(site=board.site_id, retired_on__isnull=True) | Q(Exists(named))
    ).order_by("code")


def remembered(board: Board) -> list[int]:
    """The tools that the maker's last board with any was made with, as far as they are in use."""
    last = (
        Board.objects.filter(person=board.person_id, site=board.site_id, tools__isnull=False)
        .exclude(pk=board.pk)
        .filter(cancelled_at__isnull=True)
        .order_by("-handed_out_on", "-pk")
        .first()
    )
    if last is None:
        return []
    return list(last.tools.filter(retired_on__isnull=True).values_list("pk", flat=True))


def why_not_for(board: Board, tools: Collection[Tool], day: date) -> str:
    """Empty where a board may be made or judged with tools on a day, else why it may not."""
    if board.purpose not in NEEDS_GOOD_TOOLS:
        return ""
    reasons = unfit(tools, day)
    if not reasons:
        return ""
    named = "; ".join(f"{tool.code}: {reasons[tool.pk]}" for tool in tools if tool.pk in reasons)
    return _(
        "%(tools)s. So a board for %(purpose)s is neither made nor judged with it on %(day)s. Use "
        "another; if it was used all the same, an instructor corrects the purpose to practice."
    ) % {"purpose": board.get_purpose_display(), "day": format_day(day), "tools": named}


def why_purpose_needs_others(board: Board, purpose: str, at: datetime) -> str:
    """Empty where the tools used so far allow a board to be for this, else which do not."""
    would_be = Board(purpose=purpose)
    if why := why_not_for(would_be, list(board.tools.all()), day_made(board, at)):
        return why
    judged = Judgement.objects.filter(grading__board=board, tool__isnull=False)
    for judgement in judged.exclude(grading__kind=Grading.Kind.OWN).select_related("tool"):
        assert judgement.tool is not None  # noqa: S101 - asked for above
        if why := why_not_for(would_be, [judgement.tool], board.site.today(judgement.judged_at)):
            return why
    return ""


def why_tools_stay(board: Board, user: User) -> str:
    """Empty where somebody may say what a board was made with, else why they may not."""
    words = {"number": board.number}
    if board.cancelled_at is not None:
        return _("Board %(number)s is cancelled already.") % words
    if board.disposed_at is not None:
        return _("Board %(number)s has been disposed of.") % words
    is_own = user.person_id is not None and user.person_id == board.person_id
    if is_own and Grading.objects.filter(board=board).exclude(kind=Grading.Kind.OWN).exists():
        return (
            _("Somebody has begun to judge board %(number)s. An instructor can name its tools.")
            % words
        )
    return ""
