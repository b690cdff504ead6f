"""Who was that: from a stamp and a day, or the number of a unit, to somebody and their standing.

Standing is asked of the facts themselves and not of the stored spans, so that it can be as
known at an instant. Only people at the sites where the reader audits are found, and the
reader; whoever is elsewhere answers like nobody.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any, TypeVar

from django.db.models import Q, QuerySet, Value
from django.db.models.functions import Upper
from django.utils.dates import MONTHS, MONTHS_3
from django.utils.translation import gettext as _

from assessments.models import Board
from audit.domain.who_was_that import Kind, NotUnderstood, Question, Trouble, read_question
from certification.domain.answers import Answer, Standing
from certification.domain.facts import Facts
from certification.domain.standing import timeline
from certification.models import Certificate, Scope
from certification.presenters.standing_words import RULES
from certification.queries import standing_on_day
from people.models import Person, Role, Stamp, User
from people.presenters.days import format_day
from people.queries.memberships import were_at
from records.models.text_order import InByteOrder
from training.models import PracticeRecord

MOST_FOUND = 20
LINES_OF_A_PAGE, LINES_OF_A_MATCH = 52, 3
SHORTEST_PART = 3  # characters that must be given to look for a part of a number
EARLIEST = date(1900, 1, 1)
Row = TypeVar("Row", PracticeRecord, Board)


@dataclass(frozen=True, slots=True)
class StandingOnDay:
    """How somebody stood for one scope on the day."""

    scope: Scope | None
    answer: Answer
    certificate: Certificate | None

    @property
    def why(self) -> Any:
        return RULES[self.answer.rule]


@dataclass(frozen=True, slots=True)
class Match:
    """Somebody who was that, by what, and how they stood."""

    person: Person
    day: date
    by: str
    board: Board | None = None
    scope_code: str = ""
    stood: list[StandingOnDay] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Reply:
    """What the question comes to. ``says`` is why nobody, or not yet anybody, is named.

    ``other_days`` are of a unit that is named, and not for the day asked about.
    """

    question: Question | None = None
    matches: list[Match] = field(default_factory=list)
    stamps: list[Stamp] = field(default_factory=list)
    other_days: list[Match] = field(default_factory=list)
    says: str = ""
    is_part: bool = False
    more: bool = False

    @property
    def found(self) -> list[Match]:
        return self.matches or self.other_days

    @property
    def on_paper(self) -> int:
        """How many of those found one printed page holds: whole ones, and the first always."""
        lines = 0
        for count, match in enumerate(self.found):
            lines += LINES_OF_A_MATCH + len(match.stood)
            if count and lines > LINES_OF_A_PAGE:
                return count
        return len(self.found)

    @property
    def not_on_paper(self) -> int:
        return len(self.found) - self.on_paper


def who_was_that(user: User, text: str, *, today: date, known_at: datetime | None = None) -> Reply:
    """Answer a question as it was typed; see `audit.domain.who_was_that`."""
    try:
        question = read_question(text, today, _months())
    except NotUnderstood as refused:
        return Reply(says=_trouble_text(refused))
    if question.day is not None and not EARLIEST <= question.day <= today:
        return Reply(question, says=_out_of_reach(question.day, today))
    matches: list[Match] = []
    if question.kind != Kind.UNIT and question.day is not None:
        matches += _by_stamp(user, question.number, question.day)
    is_part = False
    if question.kind != Kind.STAMP:
        by_unit = _by_unit(user, question, known_at, exactly=True)
        if not by_unit and not matches and len(question.number) >= SHORTEST_PART:
            by_unit = _by_unit(user, question, known_at, exactly=False)
            is_part = bool(by_unit)
        matches += by_unit
    more, matches = len(matches) > MOST_FOUND, matches[:MOST_FOUND]
    if matches:
        return Reply(question, _with_standings(matches, known_at), is_part=is_part, more=more)
    stamps = list(_stamps(user, question.number)[:MOST_FOUND]) if question.kind != Kind.UNIT else []
    other_days: list[Match] = []
    if question.kind != Kind.STAMP and question.day is not None and not stamps:
        on_any_day = replace(question, day=None)
        other_days = _by_unit(user, on_any_day, known_at, exactly=True)
    if other_days:
        more, other_days = len(other_days) > MOST_FOUND, other_days[:MOST_FOUND]
        return Reply(
            question,
            other_days=_with_standings(other_days, known_at),
            says=_why_nobody(replace(question, kind=Kind.UNIT), []),
            more=more,
        )
    return Reply(question, stamps=stamps, says=_why_nobody(question, stamps))


def _people(user: User, day: date | None = None) -> Q:
    """Whose stamps and work the user may ask about: of a day also who was theirs on it."""
    sites = user.sites_as(Role.QUALITY)
    theirs = Q(person=user.person_id or 0) | Q(person__site__in=sites)
    return theirs if day is None else theirs | Q(person__in=were_at(sites, day))


# Finding who it was


def _stamps(user: User, mark: str, day: date | None = None) -> QuerySet[Stamp]:
    stamps = Stamp.objects.filter(_people(user, day), mark__iexact=mark)
    return stamps.select_related("person__site").order_by("-issued_on", "mark")


def _by_stamp(user: User, mark: str, day: date) -> list[Match]:
    stamps = _stamps(user, mark, day).filter(
        Q(returned_on__isnull=True) | Q(returned_on__gte=day), issued_on__lte=day
    )
    return [Match(stamp.person, day, _holding_text(stamp)) for stamp in stamps[: MOST_FOUND + 1]]


def _holding_text(stamp: Stamp) -> str:
    facts = {"mark": stamp.mark, "first": format_day(stamp.issued_on)}
    if stamp.returned_on is None:
        return _("Holds stamp %(mark)s since %(first)s.") % facts
    facts["last"] = format_day(stamp.returned_on)
    return _("Held stamp %(mark)s from %(first)s through %(last)s.") % facts


def _by_unit(
    user: User, question: Question, known_at: datetime | None, *, exactly: bool
) -> list[Match]:
    """Work recorded for a unit or work order, then the boards that name it; newest first."""
    day, number = question.day, question.number
    numbers = {number, question.written} if exactly else {number}
    work = _with_number(_practice(user, known_at, day), ("reference",), numbers, exactly)
    boards = _with_number(_boards(user, known_at, day), ("unit", "work_order"), numbers, exactly)
    if day is not None:
        work = work.filter(performed_on=day)
        boards = boards.filter(handed_out_on__lte=day)
    matches = [
        Match(
            practice.person,
            practice.performed_on,
            _("Work on %(unit)s, recorded for %(day)s.")
            % {"unit": practice.reference, "day": format_day(practice.performed_on)},
            scope_code=practice.scope_code,
        )
        for practice in work.order_by("-performed_on", "pk")[: MOST_FOUND + 1]
    ]
    for board in boards.order_by("-handed_out_on", "pk")[: MOST_FOUND + 1]:
        made_on = _last_day_with_maker(board)
        if day is None or day <= made_on:
            by = _("Board %(number)s, made for %(unit)s.") % {
                "number": board.number,
                "unit": " / ".join(part for part in (board.unit, board.work_order) if part),
            }
            matches.append(Match(board.person, day or made_on, by, board=board))
    return matches


def _practice(user: User, known_at: datetime | None, day: date | None) -> QuerySet[PracticeRecord]:
    records = PracticeRecord.objects.filter(_people(user, day)).select_related("person__site")
    if known_at is None:
        return records.not_withdrawn()
    return records.filter(
        Q(withdrawal__isnull=True) | Q(withdrawal__withdrawn_at__gt=known_at),
        recorded_at__lte=known_at,
    )


def _boards(user: User, known_at: datetime | None, day: date | None) -> QuerySet[Board]:
    stands = Q(cancelled_at__isnull=True)
    if known_at is not None:
        stands = (stands | Q(cancelled_at__gt=known_at)) & Q(recorded_at__lte=known_at)
    return Board.objects.filter(_people(user, day), stands).select_related("person__site")


def _with_number(
    rows: QuerySet[Row], columns: tuple[str, ...], numbers: set[str], exactly: bool
) -> QuerySet[Row]:
    """Rows with a number in one of the columns, as a whole or as a part, in any case."""
    condition = Q()
    for column in columns:
        if exactly:
            # As the indexes of these columns have it.
            upper = Upper(column)
            in_order = InByteOrder(upper) if column == "reference" else upper
            rows = rows.alias(**{f"{column}_upper": in_order})
            condition |= Q(**{f"{column}_upper__in": [Upper(Value(number)) for number in numbers]})
        else:
            for number in numbers:
                condition |= Q(**{f"{column}__icontains": number})
    return rows.filter(condition)


def _last_day_with_maker(board: Board) -> date:
    """The last day it was in the maker's hands."""
    if board.handed_in_at is None:
        return board.person.site.today()
    return board.person.site.today(board.handed_in_at)


# How they stood


def _with_standings(matches: list[Match], known_at: datetime | None) -> list[Match]:
    facts = standing_on_day.facts_for_many(
        {match.person.pk for match in matches}
    ).by_person_and_scope
    scopes = Scope.objects.in_bulk()
    by_code = {scope.code: scope for scope in scopes.values()}
    answers: list[list[tuple[Scope | None, Answer]]] = []
    for match in matches:
        named = by_code.get(match.scope_code)
        scopes_of_match = (
            [named] if named else [scopes[s] for p, s in facts if p == match.person.pk]
        )
        answers_by_scope: list[tuple[Scope | None, Answer]] = []
        for scope in sorted(scopes_of_match, key=lambda scope: (scope.level, scope.title)):
            of_one = facts.get((match.person.pk, scope.pk), Facts())
            answer = timeline(of_one, known_at).on(match.day)
            if scope == named or answer.standing != Standing.NEVER_CERTIFIED:
                answers_by_scope.append((scope, answer))
        answers.append(answers_by_scope or [(None, timeline(Facts()).on(match.day))])
    numbers = {answer.certificate_number for by_scope in answers for _scope, answer in by_scope}
    certificates = _certificates(numbers)
    return [
        Match(
            match.person,
            match.day,
            match.by,
            match.board,
            match.scope_code,
            [
                StandingOnDay(scope, answer, certificates.get(answer.certificate_number))
                for scope, answer in by_scope
            ],
        )
        for match, by_scope in zip(matches, answers, strict=True)
    ]


def _certificates(numbers: Iterable[str]) -> dict[str, Certificate]:
    return {
        certificate.number: certificate
        for certificate in Certificate.objects.filter(number__in=numbers)
    }


# In words


def _months() -> dict[str, int]:
    """Names of months in the reader's language."""
    return {
        str(name).lower().rstrip("."): number
        for names in (MONTHS, MONTHS_3)
        for number, name in names.items()
    }


def _trouble_text(refused: NotUnderstood) -> str:
    facts = {"text": refused.text}
    if refused.trouble == Trouble.NO_SUCH_DAY:
        return _("There is no %(text)s: give a day of the calendar.") % facts
    if refused.trouble == Trouble.TWO_WAYS:
        return _("%(text)s can be read as two days. Write it as 2026-05-03 or 3 May 2026.") % facts
    return _("Name a stamp and a day, or the number of a unit or work order.")


def _out_of_reach(day: date, today: date) -> str:
    if day > today:
        return _("%(day)s is still to come: today is %(today)s.") % {
            "day": format_day(day),
            "today": format_day(today),
        }
    return _("Give a day from %(year)s on.") % {"year": EARLIEST.year}


def _why_nobody(question: Question, stamps: list[Stamp]) -> str:
    """Why nobody is named, as far as the reader's sites go."""
    facts = {"number": question.number}
    if question.day is not None:
        facts["day"] = format_day(question.day)
    if stamps and question.day is None:
        return _("Add the day to see who held stamp %(number)s then.") % facts
    if stamps:
        return _("Nobody held stamp %(number)s on %(day)s.") % facts
    if question.kind == Kind.STAMP:
        return _("No stamp %(number)s has been issued at your sites.") % facts
    if question.kind == Kind.UNIT and question.day is not None:
        return _("No work on %(number)s is recorded for %(day)s at your sites.") % facts
    if question.kind == Kind.UNIT:
        return _("No work or board at your sites names %(number)s.") % facts
    return _("No stamp, work or board at your sites bears %(number)s.") % facts
