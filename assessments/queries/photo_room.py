"""Whether a board takes another photograph, and whether somebody may add one today."""

from datetime import datetime, time, timedelta

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.exceptions import TakesNoPhotograph
from assessments.models import Board, BoardOutcome, Photo, ReadingRequest
from people.models import User

from . import grading_assignment


def why_closed(board: Board) -> str:
    """Empty where a board takes photographs, else why it takes no more.

    Once every stage is signed, what was judged is what was there to be seen. A joint that is sent
    back, another reading that was asked for, and a correction that somebody has begun open it
    again, until they are signed.
    """
    if board.cancelled_at is not None:
        return _("%(board)s is cancelled, so it takes no photographs.") % {"board": board.number}
    if not BoardOutcome.objects.filter(board=board, complete=True).exists():
        return ""
    if ReadingRequest.objects.filter(board=board, answered_at__isnull=True).exists():
        return ""
    if is_being_corrected(board):
        return ""
    return _(
        "Every stage of %(board)s is signed, so it takes no more photographs. Whoever judges it"
        " sends a joint back for rework or begins a correction first; then they can be added."
    ) % {"board": board.number}


def is_being_corrected(board: Board) -> bool:
    """Whether somebody has begun a correction that is still to be signed."""
    if not board.gradings.filter(replaces__isnull=False).exists():
        return False
    assignment = grading_assignment.GradingAssignment(board, grading_assignment.gradings_of(board))
    return any(
        grading.replaces_id is not None
        and grading.pk not in assignment.replaced
        and assignment.left_of(grading)
        for grading in assignment.gradings
    )


def refuse_if_no_room(board: Board, actor: User, at: datetime) -> None:
    """Refuse a photograph that a board, or its sender today, has no room for.

    Binding only while both are locked.

    Raises
    ------
    TakesNoPhotograph
        If every stage of the board is signed, it holds as many as a board may, or the actor has
        added as many as somebody may on one day at their site.
    """
    if why := why_closed(board):
        raise TakesNoPhotograph(why)
    most = settings.PHOTOS_A_BOARD
    if board.photos.count() >= most:
        raise TakesNoPhotograph(
            ngettext(
                "%(board)s holds %(most)d photograph, which is as many as a board may. Whoever runs"
                " the site can raise that by PHOTOS_A_BOARD.",
                "%(board)s holds %(most)d photographs, which is as many as a board may. Whoever"
                " runs the site can raise that by PHOTOS_A_BOARD.",
                most,
            )
            % {"board": board.number, "most": most}
        )
    most = settings.PHOTOS_A_PERSON_A_DAY
    if _added_today(board, actor, at) >= most:
        raise TakesNoPhotograph(
            ngettext(
                "You have added %(most)d photograph today, which is as many as one person may. Go"
                " on tomorrow; whoever runs the site can raise that by PHOTOS_A_PERSON_A_DAY.",
                "You have added %(most)d photographs today, which is as many as one person may. Go"
                " on tomorrow; whoever runs the site can raise that by PHOTOS_A_PERSON_A_DAY.",
                most,
            )
            % {"most": most}
        )


def _added_today(board: Board, actor: User, at: datetime) -> int:
    """How many the actor has added on the day that it is at their site, or else the board's."""
    site = actor.person.site if actor.person else board.site
    today = site.today(at)
    begins, ends = (
        datetime.combine(day, time.min, site.zone) for day in (today, today + timedelta(days=1))
    )
    added = Photo.every.filter(added_by=actor)  # What was taken back had room made for it.
    return added.filter(recorded_at__gte=begins, recorded_at__lt=ends).count()
