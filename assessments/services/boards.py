"""Boards: made for people, handed in, kept and disposed of."""

from collections.abc import Collection, Iterable, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from assessments import ports
from assessments.exceptions import (
    BoardChangedMeanwhile,
    CannotChangeBoard,
    CannotMakeBoards,
    HoldBoardsAlready,
    ToolsNotFit,
)
from assessments.models import Board, DestructiveCheck, Joint, Rework
from assessments.queries import board_corrections, board_tools, written_down
from people.models import Person, Role, Site, User
from people.presenters.days import format_day
from people.services.people import lock_people
from records.domain.shown import digest_of
from records.services import trail
from records.services.numbers import next_number
from training.models import ClassSession, Exercise, Tool
from training.services.tools import lock_tools

from .board_lock import lock_board

NUMBER_KIND = "B"
DEFAULT_ALLOY = "Sn63Pb37"


@transaction.atomic
def make_boards(
    *,
    exercise: Exercise,
    people: Sequence[Person],
    purpose: str,
    site: Site,
    handed_out_on: date,
    actor: User,
    at: datetime,
    session: ClassSession | None = None,
    unit: str = "",
    work_order: str = "",
    alloy: str = "",
    held: Collection[str] | None = None,
) -> list[Board]:
    """Make one board for each person, with a joint at every position of the exercise.

    Parameters
    ----------
    held : collection of str, optional
        The boards of the exercise that people are known to hold, by number. By default nobody
        asks: whoever hands out by a page gives what the page said, also where that was nothing.
    alloy : str
        What the boards are soldered with; by default what the exercise calls for, and tin-lead
        where it calls for none.

    Raises
    ------
    CannotMakeBoards
        If any of them cannot be made; then none is.
    HoldBoardsAlready
        If somebody holds a board of the exercise that is not among those known.
    """
    lock_people([person.pk for person in people])
    now = Person.objects.in_bulk([person.pk for person in people])
    people = [now[person.pk] for person in people]
    # As it is now: a page may have been shown before it was retired.
    exercise = Exercise.objects.get(pk=exercise.pk)
    positions = list(exercise.positions.all())
    _refuse_exercise(exercise, positions)
    _refuse_work(purpose, unit, work_order)
    _refuse_place(site, session, actor)
    if not people:
        raise CannotMakeBoards(_("Choose at least one person to make a board for."))
    for person in people:
        _refuse_person(person, site, session, handed_out_on)
    _refuse_before_its_turn(exercise, people, purpose, handed_out_on)
    if held is not None:
        holding = list(boards_held(exercise, people))
        if any(board.number not in held for board in holding):
            raise HoldBoardsAlready(holding)
    boards = []
    for person in people:
        board = Board.objects.create(
            number=next_number(site.prefix, NUMBER_KIND),
            person=person,
            exercise=exercise,
            site=site,
            session=session,
            purpose=purpose,
            unit=unit,
            work_order=work_order,
            alloy=alloy or exercise.alloy or DEFAULT_ALLOY,
            handed_out_on=handed_out_on,
            made_by=actor,
            recorded_at=at,
        )
        boards.append(board)
    Joint.objects.bulk_create(
        Joint(board=board, position=position, recorded_at=at)
        for board in boards
        for position in positions
    )
    trail.record_many(
        actor=actor,
        act=written_down.MADE,
        items=[(board, written_down.board_content(board)) for board in boards],
        at=at,
    )
    return boards


def boards_held(exercise: Exercise, people: Sequence[Person]) -> QuerySet[Board]:
    """Boards of any revision of an exercise that these people have in their hands."""
    return (
        Board.objects.at_the_bench()
        .filter(exercise__code=exercise.code, person__in=people)
        .select_related("person")
        .order_by("person__full_name", "number")
    )


def _refuse_exercise(exercise: Exercise, positions: Sequence) -> None:
    if exercise.is_draft:
        raise CannotMakeBoards(
            _(
                "%(exercise)s, revision %(revision)d, is a draft. Boards are made once it is "
                "published."
            )
            % {"exercise": exercise.title, "revision": exercise.revision}
        )
    if exercise.retired_at is not None:
        raise CannotMakeBoards(
            _("%(exercise)s, revision %(revision)d, is retired. Choose its newer revision.")
            % {"exercise": exercise.title, "revision": exercise.revision}
        )
    if not positions:
        raise CannotMakeBoards(
            _("%(exercise)s has no positions yet, so there is nothing to solder on its board.")
            % {"exercise": exercise.title}
        )


def _refuse_work(purpose: str, unit: str, work_order: str) -> None:
    if purpose == Board.Purpose.PRODUCTION and not (unit or work_order):
        raise CannotMakeBoards(
            _("A production sample names the unit or the work order it was taken from.")
        )


def _refuse_place(site: Site, session: ClassSession | None, actor: User) -> None:
    if not actor.has_role(Role.INSTRUCTOR, site=site):
        raise CannotMakeBoards(
            _("Boards at %(site)s are made by its instructors.") % {"site": site.name}
        )
    if session is not None and session.site_id != site.pk:
        raise CannotMakeBoards(
            _("Class %(session)s is not held at %(site)s.")
            % {"session": session.number, "site": site.name}
        )


def _refuse_person(
    person: Person, site: Site, session: ClassSession | None, handed_out_on: date
) -> None:
    enrolled = session is not None and session.enrolments.filter(person=person).exists()
    if session is not None and not enrolled:
        raise CannotMakeBoards(
            _("%(person)s is not in class %(session)s. Enrol them first, or make the board apart.")
            % {"person": person.full_name, "session": session.number}
        )
    if person.site_id != site.pk and not enrolled:
        raise CannotMakeBoards(
            _("%(person)s works at another site than %(site)s. Enrol them in a class here first.")
            % {"person": person.full_name, "site": site.name}
        )
    if person.left_on is not None and person.left_on < handed_out_on:
        raise CannotMakeBoards(
            _("%(person)s left on %(day)s, so no board was made for them.")
            % {"person": person.full_name, "day": format_day(person.left_on)}
        )
    if person.started_on is not None and person.started_on > handed_out_on:
        raise CannotMakeBoards(
            _("%(person)s starts on %(day)s. Hand the board out on that day or later.")
            % {"person": person.full_name, "day": format_day(person.started_on)}
        )


def _refuse_before_its_turn(
    exercise: Exercise, people: Sequence[Person], purpose: str, handed_out_on: date
) -> None:
    """Refuse boards for qualification before what their schemes ask to come first."""
    if purpose not in Board.QUALIFYING:
        return
    if why := ports.before_qualifying(exercise, people, handed_out_on):
        last = _("Hand out a board for practice, or leave them out.")
        raise CannotMakeBoards(" ".join([*why.values(), last]))


# Afterwards


@transaction.atomic
def hand_in(
    *,
    board: Board,
    actor: User,
    at: datetime,
    bench_minutes: int | None = None,
    tools: Collection[Tool] | None = None,
    seen: str | None = None,
) -> Board:
    """Hand a board in to be judged, or what was reworked on it.

    ``bench_minutes`` is how long its maker worked on it, where they say so; of what was
    reworked no time is kept. ``tools`` are what it was made with, None where nobody was asked:
    then it names what it named before. ``seen`` is as in `name_tools`.

    Raises
    ------
    CannotChangeBoard
        If it is handed in or gone, or as `name_tools`; here of every tool that it names.
    """
    board = lock_board(board)
    if board.disposed_at is not None:
        raise CannotChangeBoard(
            _("Board %(number)s has been disposed of.") % {"number": board.number}
        )
    reworked = Rework.objects.filter(joint__board=board, handed_in_at__isnull=True)
    if joints := [str(rework.joint) for rework in reworked.select_related("joint__position")]:
        reworked.update(handed_in_at=at)
        payload = {"number": board.number, "joints": joints}
        trail.record(actor=actor, act="rework handed in", about=board, payload=payload, at=at)
        return board
    if board.handed_in_at is not None:
        raise CannotChangeBoard(
            _("Board %(number)s was handed in on %(day)s.")
            % {"number": board.number, "day": _day(board, board.handed_in_at)}
        )
    board.handed_in_at, board.bench_minutes = at, bench_minutes
    board.save(update_fields=["handed_in_at", "bench_minutes"])
    # Tools before the trail, as whoever calibrates one locks them.
    changed = tools is not None and _set_tools(board, tools, at, seen)
    refuse_unfit_tools(board, at)
    took = None if bench_minutes is None else {"bench_minutes": bench_minutes}
    trail.record(actor=actor, act="board handed in", about=board, payload=took, at=at)
    if changed:
        _write_tools_down(board, actor, at)
    return board


@transaction.atomic
def name_tools(
    *,
    board: Board,
    tools: Collection[Tool],
    actor: User,
    at: datetime,
    seen: str | None = None,
) -> Board:
    """Say what a board was made with.

    Parameters
    ----------
    seen : str, optional
        `tools_digest` of it as the page showed it. By default no page was shown.

    Raises
    ------
    BoardChangedMeanwhile
        If somebody else named others since it was shown.
    CannotChangeBoard
        If the board takes no more word of it from the actor, a tool is at another site, or the
        board is for qualification and a tool that is added was not to be relied on that day.
    """
    board = lock_board(board)
    if why := board_tools.why_tools_stay(board, actor):
        raise CannotChangeBoard(why)
    if _set_tools(board, tools, at, seen):
        _write_tools_down(board, actor, at)
    return board


def _set_tools(board: Board, tools: Iterable[Tool], at: datetime, seen: str | None = None) -> bool:
    """Have a locked board name these tools; whether that is another word than before.

    What it names already is not asked about again: it was to be relied on when it was named,
    and what is found out since is for whoever decides on the work that it puts in question.
    """
    wanted = sorted({tool.pk for tool in tools})
    before = set(board.tools.values_list("pk", flat=True))
    if before == set(wanted):
        return False
    if seen is not None and seen != tools_digest(board):
        raise BoardChangedMeanwhile(
            _(
                "Since you opened this page, somebody else said what the board was made with: "
                "%(tools)s. What you ticked is kept. Tick theirs too where they were used, and "
                "send it again."
            )
            % {"tools": _tools_in_words(board)},
            seen=tools_digest(board),
        )
    lock_tools(wanted)
    added = list(Tool.objects.filter(pk__in=set(wanted) - before))
    for tool in added:
        if tool.site_id != board.site_id:
            raise ToolsNotFit(
                _("%(tool)s is not a tool of %(site)s.")
                % {"tool": tool.code, "site": board.site.name}
            )
    _refuse_unfit(board, added, at)
    board.tools.set(wanted)
    return True


def tools_digest(board: Board) -> str:
    """What a page that names the tools of a board carries of what it showed."""
    return digest_of(written_down.tools_content(board))


def _tools_in_words(board: Board) -> str:
    return ", ".join(written_down.tools_content(board)["tools"]) or _("no tools")


def refuse_unfit_tools(board: Board, at: datetime) -> None:
    """Refuse to hand a locked board in that names a tool which does not do for it.

    The work went on since they were named: they are to be relied on until now.
    """
    if named := list(board.tools.all()):
        lock_tools([tool.pk for tool in named])
        _refuse_unfit(board, named, at)


def _refuse_unfit(board: Board, tools: Collection[Tool], at: datetime) -> None:
    if why := board_tools.why_not_for(board, tools, board_tools.day_made(board, at)):
        raise ToolsNotFit(why)


def _write_tools_down(board: Board, actor: User, at: datetime) -> None:
    trail.record(
        actor=actor,
        act=written_down.TOOLS_NAMED,
        about=board,
        payload=written_down.tools_content(board),
        at=at,
    )


@transaction.atomic
def take_back_hand_in(*, board: Board, actor: User, at: datetime) -> Board:
    """Have a board, or what was reworked on it, with its maker again.

    Raises
    ------
    CannotChangeBoard
        If it is not handed in, or somebody has begun to judge it.
    """
    board = lock_board(board)
    if why := board_corrections.why_hand_in_stays(board):
        raise CannotChangeBoard(why)
    again = board_corrections.handed_in_again(board)
    if joints := [str(rework.joint) for rework in again.select_related("joint__position")]:
        again.update(handed_in_at=None)
        payload = {"number": board.number, "joints": joints}
        trail.record(actor=actor, act="rework taken back", about=board, payload=payload, at=at)
        return board
    handed_in = {"number": board.number, "handed_in_at": board.handed_in_at}
    board.handed_in_at = board.bench_minutes = None
    board.save(update_fields=["handed_in_at", "bench_minutes"])
    trail.record(actor=actor, act="board taken back", about=board, payload=handed_in, at=at)
    return board


@transaction.atomic
def describe_piece(
    *,
    board: Board,
    tools: Iterable[Tool],
    kept_where: str,
    kept_until: date | None,
    actor: User,
    at: datetime,
    seen: str | None = None,
) -> Board:
    """Say what a board was made with, and where it is kept until when.

    A form sent twice records nothing twice.

    Parameters
    ----------
    seen : str, optional
        `piece_digest` of it as the page showed it. By default no page was shown.

    Raises
    ------
    BoardChangedMeanwhile
        If somebody else said something else of it since it was shown.
    CannotChangeBoard
        If it is gone, or as `name_tools`.
    """
    board = lock_board(board)
    _refuse_if_disposed(board)
    tools = list(tools)
    is_kept_so = (board.kept_where, board.kept_until) == (kept_where, kept_until)
    named = set(board.tools.values_list("pk", flat=True))
    if is_kept_so and named == {tool.pk for tool in tools}:
        return board
    if seen is not None and seen != piece_digest(board):
        raise BoardChangedMeanwhile(
            _(
                "Since you opened this page, somebody else said of this piece: tools used: "
                "%(tools)s; where it is kept: %(where)s; keep through: %(until)s. What you typed "
                "is kept. Take over what is right of theirs, and save again."
            )
            % {
                "tools": _tools_in_words(board),
                "where": board.kept_where or "–",
                "until": format_day(board.kept_until) if board.kept_until else "–",
            },
            seen=piece_digest(board),
        )
    board.kept_where, board.kept_until = kept_where, kept_until
    board.save(update_fields=["kept_where", "kept_until"])
    _set_tools(board, tools, at)
    payload = _piece_content(board)
    trail.record(actor=actor, act=written_down.KEPT, about=board, payload=payload, at=at)
    return board


def piece_digest(board: Board) -> str:
    """What a page that says where a board is kept, and its tools, carries of what it showed."""
    return digest_of(_piece_content(board))


def _piece_content(board: Board) -> dict[str, Any]:
    return {
        **written_down.tools_content(board),
        "kept_where": board.kept_where,
        "kept_until": board.kept_until.isoformat() if board.kept_until else None,
    }


@transaction.atomic
def dispose(*, board: Board, how: str, actor: User, at: datetime) -> Board:
    """Note that the piece itself is gone; everything recorded of it stays."""
    board = lock_board(board)
    _refuse_if_disposed(board)
    if board.kept_until is not None and board.site.today(at) <= board.kept_until:
        raise CannotChangeBoard(
            _("Board %(number)s is to be kept through %(day)s.")
            % {"number": board.number, "day": format_day(board.kept_until)}
        )
    board.disposed_at, board.disposed_how = at, how
    board.save(update_fields=["disposed_at", "disposed_how"])
    payload = {"number": board.number, "how": how}
    trail.record(actor=actor, act="board disposed of", about=board, payload=payload, at=at)
    return board


@transaction.atomic
def add_destructive_check(
    *, board: Board, kind: str, result: str, done_on: date, actor: User, at: datetime
) -> DestructiveCheck:
    """Record a section, pull or peel made of the piece."""
    if done_on < board.handed_out_on:
        raise CannotChangeBoard(
            _("Board %(number)s was only handed out on %(day)s.")
            % {"number": board.number, "day": format_day(board.handed_out_on)}
        )
    if done_on > board.site.today(at):
        raise CannotChangeBoard(_("A check is recorded when it has been done, not before."))
    check = DestructiveCheck.objects.create(
        board=board, kind=kind, result=result, done_on=done_on, recorded_at=at
    )
    trail.record(
        actor=actor,
        act=written_down.CHECKED,
        about=check,
        payload=written_down.check_content(check),
        at=at,
    )
    return check


@transaction.atomic
def add_destructive_check_once(
    *, board: Board, kind: str, result: str, done_on: date, actor: User, at: datetime
) -> DestructiveCheck | None:
    """As `add_destructive_check`; None where one of that day says just the same.

    A form sent twice records nothing twice.
    """
    said: dict[str, Any] = {"kind": kind, "result": result, "done_on": done_on}
    if lock_board(board).destructive_checks.filter(**said).exists():
        return None
    return add_destructive_check(board=board, **said, actor=actor, at=at)


def _refuse_if_disposed(board: Board) -> None:
    if board.disposed_at is not None:
        raise CannotChangeBoard(
            _("Board %(number)s was disposed of on %(day)s.")
            % {"number": board.number, "day": _day(board, board.disposed_at)}
        )


def _day(board: Board, at: datetime) -> str:
    return format_day(board.site.today(at))
