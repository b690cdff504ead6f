"""The way to a certificate: what comes before what, attempts, waiting and training again.

An attempt is a board handed out for qualification or re-qualification and not cancelled, of
whatever revision of its exercise. A joint that is made again is part of the attempt of its board;
it is no attempt more. Boards for practice and production samples are no attempts: nothing here
refuses them.

The shape of the rule (so many retests, not sooner than so many days, then training again) follows
ISO 9712:2012, clause 11.2.2, and the practice of welder certification, where a second failure
means training before any new try. No document was found that sets such figures for hand
soldering, so each is a figure of the scheme, and 0 asks for nothing.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum

from .months import add_months

ATTEMPTS = frozenset({"qualification", "requalification"})
PRACTICE = "practice"


@dataclass(frozen=True, slots=True)
class PathFigures:
    """What a scheme says of attempts; 0 everywhere asks for nothing.

    Attributes
    ----------
    attempts : int
        How many attempts at an exercise may fail before training again is asked for.
    wait_days : int
        How many days after an attempt failed the next one may begin: failed on the 1st with 7,
        the next board is handed out on the 8th.
    retraining_boards : int
        How many practice boards of the exercise, passed, stand for training again beside a class;
        0 leaves the class alone.
    """

    attempts: int = 0
    wait_days: int = 0
    retraining_boards: int = 0

    def __bool__(self) -> bool:
        return bool(self.attempts or self.wait_days)


NO_FIGURES = PathFigures()
"""A scheme that says nothing of attempts."""


@dataclass(frozen=True, slots=True)
class AskedBoards:
    """Boards of one exercise that are asked for a scope, and what has to come before them.

    Attributes
    ----------
    purposes : collection of str
        Purposes that count; empty counts any.
    within_months : int
        How long a board counts after the day it was judged; 0 counts it for ever.
    after_exercise : str
        An exercise asked for the same scope that is passed first, as often as it is asked.
    after_course : str
        A course attended on all of its days first.
    """

    exercise: str
    boards: int = 1
    purposes: Collection[str] = ()
    within_months: int = 0
    after_exercise: str = ""
    after_course: str = ""


@dataclass(frozen=True, slots=True)
class BoardMade:
    """A board that was handed out and not cancelled.

    ``passed`` is None until it is judged to the end, and ``judged_on`` means nothing until then.
    """

    number: str
    exercise: str
    purpose: str
    handed_out_on: date
    judged_on: date = date.max
    passed: bool | None = None
    is_handed_in: bool = False

    @property
    def is_attempt(self) -> bool:
        return self.purpose in ATTEMPTS

    @property
    def begun_on(self) -> date:
        """The day it was handed out; where that was said to come and it was judged before, that."""
        return min(self.handed_out_on, self.judged_on)

    def failed_by(self, day: date) -> bool:
        return self.passed is False and self.judged_on <= day


@dataclass(frozen=True, slots=True)
class PathRecord:
    """What somebody has done.

    Attributes
    ----------
    boards : sequence of BoardMade
        Of every exercise that is asked for, whatever they were for.
    courses : mapping of str to sequence of date
        By course the last days of classes of it that were attended on all of their days.
    classes : mapping of str to sequence of (date, date)
        By exercise the first and the last days of classes that teach it, attended alike.
    """

    boards: Sequence[BoardMade] = ()
    courses: Mapping[str, Sequence[date]] = field(default_factory=dict)
    classes: Mapping[str, Sequence[tuple[date, date]]] = field(default_factory=dict)


class Before(StrEnum):
    """What keeps the next attempt from beginning."""

    EXERCISE = "exercise"
    COURSE = "course"
    AT_HAND = "at_hand"
    RETRAINING = "retraining"
    WAITING = "waiting"


@dataclass(frozen=True, slots=True)
class Hindrance:
    """Why a board cannot be handed out: what comes first.

    Attributes
    ----------
    code : str
        The exercise or course that comes first, or the board that is not judged yet.
    failed : int
        How many attempts have failed since the last training.
    until : date or None
        The first day on which the next board may be handed out, where days alone are missing.
    """

    before: Before
    code: str = ""
    failed: int = 0
    until: date | None = None


class State(StrEnum):
    """How far somebody is with the boards of one exercise."""

    MET = "met"
    AT_HAND = "at_hand"
    NEXT = "next"
    WAITING = "waiting"
    RETRAINING = "retraining"
    NOT_YET = "not_yet"


@dataclass(frozen=True, slots=True)
class Station:
    """One exercise on the way.

    ``counting`` are the numbers of the boards that count, the latest first; ``failed`` the
    attempts that failed since the last training.
    """

    asked: AskedBoards
    state: State
    counting: tuple[str, ...] = ()
    hindrance: Hindrance | None = None
    failed: int = 0

    @property
    def missing(self) -> int:
        return max(self.asked.boards - len(self.counting), 0)


class Path:
    """What one person has done, held against what is asked for one scope.

    Parameters
    ----------
    asked : sequence of AskedBoards
        Each exercise once.
    record : PathRecord
    issued : collection of date
        The days of certificates for the scope: attempts judged by the last are behind somebody,
        for what begins from that day on.
    after : date or None
        The day of the last revocation: boards judged by then do not count any more.
    published_on : date or None
        Boards begun before this day are held against ``earlier``; None asks the order of all.
    earlier : Path or None
        The way under the revision that was published before this one. Without one, boards begun
        before ``published_on`` count in whatever order they came, since nobody asked for one.
    """

    def __init__(
        self,
        asked: Sequence[AskedBoards],
        figures: PathFigures,
        record: PathRecord,
        *,
        issued: Collection[date] = (),
        after: date | None = None,
        published_on: date | None = None,
        earlier: "Path | None" = None,
    ) -> None:
        self.asked = {one.exercise: one for one in asked}
        self.figures = figures
        self.record = record
        self.issued = tuple(issued)
        self.after = after
        self.published_on = published_on
        self.earlier = earlier
        self._made = {board.number: board for board in record.boards}
        self._in_order: dict[str, bool] = {}

    def has_rules(self) -> bool:
        """Whether anything is asked beyond the boards themselves."""
        return bool(self.figures) or any(
            one.after_exercise or one.after_course for one in self.asked.values()
        )

    def counting(self, asked: AskedBoards, day: date) -> list[BoardMade]:
        """The boards that count for what is asked on a day, the latest judged first."""
        found = [
            board
            for board in self.record.boards
            if board.exercise == asked.exercise
            and board.passed
            and board.judged_on <= day
            and (not asked.purposes or board.purpose in asked.purposes)
            and (not asked.within_months or add_months(board.judged_on, asked.within_months) >= day)
            and (self.after is None or board.judged_on > self.after)
            and self.in_order(board)
        ]
        return sorted(found, key=lambda board: (board.judged_on, board.number), reverse=True)

    def in_order(self, board: BoardMade) -> bool:
        """Whether nothing stood before a board on the day it was handed out.

        What failed on that very day is left aside: nobody knows what came first. An attempt that
        began while another was not judged yet is in order.
        """
        asked = self.asked.get(board.exercise)
        if asked is None:
            return True
        if self.published_on is not None and board.begun_on < self.published_on:
            return self.earlier is None or self.earlier.in_order(board)
        known = self._in_order
        if board.number not in known:
            known[board.number] = True  # Exercises that wait for each other end here.
            day = board.begun_on
            first = self._first(asked, day) or (
                self._after_failing(asked.exercise, day, day - timedelta(days=1))
                if board.is_attempt
                else None
            )
            known[board.number] = first is None
        return known[board.number]

    def counts(self, number: str) -> bool:
        """Whether a board is in order, by its number; what is not on record is left alone."""
        board = self._made.get(number)
        return board is None or self.in_order(board)

    def board(self, number: str) -> BoardMade | None:
        return self._made.get(number)

    def hindrance(self, exercise: str, day: date, leaving: str = "") -> Hindrance | None:
        """Why no attempt at an exercise can begin on a day; None where one can.

        Every attempt that has failed is looked at, also one that failed later than the day: a
        board is not dated back past the waiting time. ``leaving`` is a board that is left aside.
        """
        asked = self.asked.get(exercise)
        if asked is None:
            return None
        latest = max(
            [day, *(board.judged_on for board in self.record.boards if board.passed is not None)]
        )
        return (
            self._first(asked, day)
            or self._after_failing(exercise, day, latest, leaving)
            or self._too_many(exercise, latest, leaving)
        )

    def _first(self, asked: AskedBoards, day: date) -> Hindrance | None:
        """The exercise or the course that comes before, where it is not there by a day."""
        before = self.asked.get(asked.after_exercise)
        if before is not None and len(self.counting(before, day)) < before.boards:
            return Hindrance(Before.EXERCISE, before.exercise)
        attended = self.record.courses.get(asked.after_course, ())
        if asked.after_course and not any(held <= day for held in attended):
            return Hindrance(Before.COURSE, asked.after_course)
        return None

    def _attempts(self, exercise: str, leaving: str = "") -> list[BoardMade]:
        return [
            board
            for board in self.record.boards
            if board.exercise == exercise and board.is_attempt and board.number != leaving
        ]

    def _failures(self, exercise: str, by: date, leaving: str = "") -> list[BoardMade]:
        # What begins on the day after is asked about: a certificate of that day is there by then,
        # and none that came later.
        since = max((on for on in self.issued if on - timedelta(days=1) <= by), default=date.min)
        failed = [
            board
            for board in self._attempts(exercise, leaving)
            if board.failed_by(by) and board.judged_on > since
        ]
        return sorted(failed, key=lambda board: (board.judged_on, board.number))

    def _since_training(
        self, exercise: str, by: date, trained_by: date, leaving: str = ""
    ) -> tuple[int, date | None]:
        """How many attempts have failed since the last training that was owed, and its day.

        What began before a training is behind it, whenever it was judged.
        """
        count, trained = 0, None
        for board in self._failures(exercise, by, leaving):
            if trained is not None and board.begun_on < trained:
                continue
            count += 1
            if self.figures.attempts and count == self.figures.attempts:
                again = self._trained_after(exercise, board.judged_on)
                if again is not None and again <= trained_by:
                    count, trained = 0, again
        return count, trained

    def _trained_after(self, exercise: str, failed: date) -> date | None:
        """The first day by which somebody was trained again after a day, itself excluded.

        A class trains again from its first day on: the one in which somebody failed does not.
        """
        days = [last for first, last in self.record.classes.get(exercise, ()) if first > failed]
        needed = self.figures.retraining_boards
        if needed:
            practised = sorted(
                board.judged_on
                for board in self.record.boards
                if board.exercise == exercise
                and board.purpose == PRACTICE
                and board.passed
                and board.begun_on > failed
            )
            days += practised[needed - 1 : needed]
        return min(days, default=None)

    def _after_failing(
        self, exercise: str, day: date, by: date, leaving: str = ""
    ) -> Hindrance | None:
        count, trained = self._since_training(exercise, by, max(day, by), leaving)
        if self.figures.attempts and count >= self.figures.attempts:
            return Hindrance(Before.RETRAINING, failed=count)
        if trained is not None and day < trained:
            return Hindrance(Before.RETRAINING, failed=self.figures.attempts)
        failures = self._failures(exercise, by, leaving)
        if not failures or not self.figures.wait_days:
            return None
        until = failures[-1].judged_on + timedelta(days=self.figures.wait_days)
        return Hindrance(Before.WAITING, failed=count, until=until) if day < until else None

    def _too_many(self, exercise: str, by: date, leaving: str) -> Hindrance | None:
        """The oldest attempt that is not judged, where it may be the last one that is left."""
        open_ones = self._open(exercise, leaving)
        if not self.figures.attempts or not open_ones:
            return None
        count, _trained = self._since_training(exercise, by, by, leaving)
        if count + len(open_ones) < self.figures.attempts:
            return None
        return Hindrance(Before.AT_HAND, open_ones[0].number, count)

    def _open(self, exercise: str, leaving: str = "") -> list[BoardMade]:
        attempts = self._attempts(exercise, leaving)
        return sorted(
            (board for board in attempts if board.passed is None),
            key=lambda board: (board.handed_out_on, board.number),
        )

    def station(self, asked: AskedBoards, day: date) -> Station:
        """How far somebody is with the boards of one exercise on a day."""
        counting = tuple(board.number for board in self.counting(asked, day)[: asked.boards])
        failed, _trained = self._since_training(asked.exercise, day, day)

        def at(state: State, hindrance: Hindrance | None = None) -> Station:
            return Station(asked, state, counting, hindrance, failed)

        if len(counting) >= asked.boards:
            return at(State.MET)
        open_ones = self._open(asked.exercise)
        if open_ones:
            return at(State.AT_HAND, Hindrance(Before.AT_HAND, open_ones[0].number, failed))
        hindrance = self.hindrance(asked.exercise, day)
        if hindrance is None:
            return at(State.NEXT)
        return at(STATES[hindrance.before], hindrance)

    def stations(self, day: date) -> list[Station]:
        """Every exercise in the order in which they can be done, as asked where nothing decides."""
        return [self.station(asked, day) for asked in in_order_of_work(list(self.asked.values()))]


STATES: Mapping[Before, State] = {
    Before.EXERCISE: State.NOT_YET,
    Before.COURSE: State.NOT_YET,
    Before.AT_HAND: State.AT_HAND,
    Before.RETRAINING: State.RETRAINING,
    Before.WAITING: State.WAITING,
}

URGENCY: Sequence[State] = (
    State.AT_HAND,
    State.NEXT,
    State.RETRAINING,
    State.WAITING,
    State.NOT_YET,
)
"""Which station is told first as what counts next: what can be done comes before what waits."""


def next_station(stations: Sequence[Station]) -> Station | None:
    """The station that counts next; None where all are met.

    Examples
    --------
    >>> wire, cup = AskedBoards("WIRE"), AskedBoards("CUP", after_exercise="WIRE")
    >>> path = Path([cup, wire], PathFigures(), PathRecord())
    >>> next_station(path.stations(date(2026, 11, 25))).asked.exercise
    'WIRE'
    """
    return min(
        (one for one in stations if one.state != State.MET),
        key=lambda one: URGENCY.index(one.state),
        default=None,
    )


def in_order_of_work(asked: Sequence[AskedBoards]) -> list[AskedBoards]:
    """What is asked, each after what has to come before it, and else as it stands.

    Examples
    --------
    >>> rows = [AskedBoards("HOOK", after_exercise="CUP"), AskedBoards("CUP"), AskedBoards("WIRE")]
    >>> [one.exercise for one in in_order_of_work(rows)]
    ['CUP', 'HOOK', 'WIRE']
    """
    by_code = {one.exercise: one for one in asked}
    placed: dict[str, AskedBoards] = {}

    def place(one: AskedBoards, waiting: frozenset[str]) -> None:
        if one.exercise in placed or one.exercise in waiting:
            return
        before = by_code.get(one.after_exercise)
        if before is not None:
            place(before, waiting | {one.exercise})
        placed[one.exercise] = one

    for one in asked:
        place(one, frozenset())
    return list(placed.values())


def waiting_for_each_other(asked: Sequence[AskedBoards]) -> list[str]:
    """Exercises that could never begin, since each comes after another of them.

    Examples
    --------
    >>> rows = [AskedBoards("A", after_exercise="B"), AskedBoards("B", after_exercise="A")]
    >>> waiting_for_each_other([*rows, AskedBoards("C")])
    ['A', 'B']
    """
    after = {one.exercise: one.after_exercise for one in asked}
    found = []
    for code in after:
        seen, at = {code}, after[code]
        while at and at not in seen:
            seen.add(at)
            at = after.get(at, "")
        if at == code:
            found.append(code)
    return found
