"""Who was that: from a stamp, number or name and a day, or a unit, to somebody and their standing.

Standing is asked of the facts themselves and not of the stored spans, so that it can be as
known at an instant. Only people at the sites where the reader audits are found, and the
reader; whoever is elsewhere answers like nobody. What names a unit is recorded work, a board,
or a row of a work log that was checked.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any, TypeVar

from django.db.models import OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Upper
from django.utils.dates import MONTHS, MONTHS_3
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from assessments.models import Board
from audit.access import work_log_checks_readable_by
from audit.domain.who_was_that import (
    Kind,
    NotUnderstood,
    Question,
    Trouble,
    Words,
    read_question,
)
from audit.queries.logged_rows import LoggedRows, Wanted, rows_naming
from certification.domain.answers import Answer, Standing
from certification.domain.facts import Facts
from certification.domain.standing import timeline
from certification.models import Certificate, Scope
from certification.presenters.standing_words import RULES
from certification.queries import standing_on_day
from people.models import FormerEmployeeNumber, NameChange, Person, Role, Stamp, User
from people.presenters.days import format_day
from people.queries.finding import BEGINS, Sought, name_match
from people.queries.memberships import away_from, ever_at, were_at
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
    logged: LoggedRows | None = None
    stood: list[StandingOnDay] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Reply:
    """What the question comes to. ``says`` is why nobody, or not yet anybody, is named.

    ``other_days`` are of a unit that is named, and not for the day asked about; ``people`` those
    whose number or name it is, where no day was named; ``nobody`` rows of logs that name a number
    which is nobody's here. ``logs_left`` work logs were not looked through.
    """

    question: Question | None = None
    matches: list[Match] = field(default_factory=list)
    stamps: list[Stamp] = field(default_factory=list)
    other_days: list[Match] = field(default_factory=list)
    people: list[Person] = field(default_factory=list)
    nobody: list[LoggedRows] = field(default_factory=list)
    logs_left: int = 0
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
        question = read_question(text, today, _months(), _words())
    except NotUnderstood as refused:
        return Reply(says=_trouble_text(refused))
    if question.day is not None and not EARLIEST <= question.day <= today:
        return Reply(question, says=_out_of_reach(question.day, today))
    tracer = _Tracer(user, known_at)
    matches = tracer.exactly(question)
    is_part = False
    if not matches and question.day is not None and question.kind in (Kind.PERSON, Kind.EITHER):
        matches = _by_name(user, question.number, question.day)
    if (
        not matches
        and question.kind in (Kind.UNIT, Kind.EITHER)
        and len(question.number) >= SHORTEST_PART
    ):
        matches = _by_unit(user, question, known_at, exactly=False)
        is_part = bool(matches)
    if matches:
        return tracer.reply(question, matches, is_part=is_part)
    stamps, people = [], []
    if question.kind in (Kind.STAMP, Kind.EITHER):
        stamps = list(_stamps(user, question.number)[:MOST_FOUND])
    if question.kind in (Kind.PERSON, Kind.EITHER) and question.day is None and not stamps:
        people = list(_with_number_or_name(user, question.number)[: MOST_FOUND + 1])
    if question.kind in (Kind.UNIT, Kind.EITHER) and question.day is not None and not stamps:
        on_any_day = replace(question, day=None, kind=Kind.UNIT)
        if other_days := tracer.exactly(on_any_day):
            why = _why_nobody(replace(question, kind=Kind.UNIT), [], [])
            return tracer.reply(question, other_days, on_other_days=why)
    return Reply(
        question,
        stamps=stamps,
        people=people[:MOST_FOUND],
        nobody=tracer.nobody,
        logs_left=tracer.logs_left,
        says=_why_nobody(question, stamps, people),
        more=len(people) > MOST_FOUND,
    )


class _Tracer:
    """Looks for what bears a number exactly, and keeps what is to be said of the logs."""

    def __init__(self, user: User, known_at: datetime | None) -> None:
        self._user, self._known_at = user, known_at
        self.nobody: list[LoggedRows] = []
        self.logs_left = 0

    def exactly(self, question: Question) -> list[Match]:
        """Whoever held the stamp or has the number, recorded work, boards, then rows of logs."""
        user, day, kind = self._user, question.day, question.kind
        matches: list[Match] = []
        if kind in (Kind.STAMP, Kind.EITHER) and day is not None:
            matches += _by_stamp(user, question.number, day)
        if kind in (Kind.PERSON, Kind.EITHER) and day is not None:
            matches += _by_employee_number(user, question.number, day)
        if kind in (Kind.UNIT, Kind.EITHER):
            matches += _by_unit(user, question, self._known_at, exactly=True)
        if kind != Kind.PERSON:
            matches += self._by_log(question)
        return matches

    def _by_log(self, question: Question) -> list[Match]:
        """What rows of checked work logs say, of people that the user may ask about."""
        checks = work_log_checks_readable_by(self._user)
        if self._known_at is not None:
            checks = checks.filter(finished_at__lte=self._known_at)
        units = {question.number, question.written} if question.kind != Kind.STAMP else set()
        stamp = question.number if question.kind != Kind.UNIT else ""
        answer = rows_naming(checks, Wanted(units, stamp, question.day))
        self.logs_left, self.nobody = answer.left, []
        people = _people_in_logs(self._user, answer.rows)
        matches = []
        for rows in sorted(answer.rows, key=lambda rows: rows.day, reverse=True):
            person = people.get((rows.employee_number, rows.day))
            if person is None:
                if len(self.nobody) < MOST_FOUND:
                    self.nobody.append(rows)
            else:
                matches.append(
                    Match(
                        person,
                        rows.day,
                        _logged_text(rows, person),
                        scope_code=rows.scope_code,
                        logged=rows,
                    )
                )
        return matches

    def reply(
        self,
        question: Question,
        matches: list[Match],
        *,
        is_part: bool = False,
        on_other_days: str = "",
    ) -> Reply:
        more = len(matches) > MOST_FOUND
        shown = _with_standings(matches[:MOST_FOUND], self._known_at)
        return Reply(
            question,
            [] if on_other_days else shown,
            other_days=shown if on_other_days else [],
            nobody=self.nobody,
            logs_left=self.logs_left,
            says=on_other_days,
            is_part=is_part,
            more=more,
        )


def _people(user: User, day: date | None = None, path: str = "person__") -> Q:
    """Whose stamps and work the user may ask about: of a day also who was theirs on it."""
    sites = user.sites_as(Role.QUALITY)
    theirs = Q(**{f"{path}pk": user.person_id or 0}) | Q(**{f"{path}site__in": sites})
    return theirs if day is None else theirs | Q(**{f"{path}pk__in": were_at(sites, day)})


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


def _with_employee_number(user: User, number: str, day: date | None) -> QuerySet[Person]:
    """Whose number it is or was: nobody else ever gets one that was somebody's."""
    former = FormerEmployeeNumber.objects.filter(employee_number__iexact=number)
    return (
        Person.objects.filter(_people(user, day, ""))
        .filter(Q(employee_number__iexact=number) | Q(pk__in=former.values("person")))
        .select_related("site")
        .order_by("full_name", "employee_number")
    )


def _by_employee_number(user: User, number: str, day: date) -> list[Match]:
    return [
        Match(person, day, _number_text(person, number))
        for person in _with_employee_number(user, number, day)[: MOST_FOUND + 1]
    ]


def _number_text(person: Person, number: str) -> str:
    if person.employee_number.upper() == number.upper():
        return _("Has employee number %(number)s.") % {"number": person.employee_number}
    return _("Had employee number %(number)s.") % {"number": number}


def _with_name(user: User, name: str, day: date | None) -> QuerySet[Person]:
    """People whose name has words that begin so, in any order; whole names go first.

    Those who had such a name before come last, with it in ``had_name``.
    """
    match, before = (name_match(Sought.of(name), column) for column in ("full_name", "before"))
    changes = NameChange.objects.alias(**before.alias).filter(before.begins, person=OuterRef("pk"))
    return (
        Person.objects.filter(_people(user, day, ""))
        .alias(**match.alias)
        .annotate(
            rank=match.rank(),
            had_name=Subquery(changes.order_by("-from_day", "-pk").values("before")[:1]),
        )
        .filter(match.begins | Q(had_name__isnull=False))
        .select_related("site")
        .order_by("rank", "full_name", "employee_number")
    )


def _by_name(user: User, name: str, day: date) -> list[Match]:
    return [
        Match(person, day, _name_text(person))
        for person in _with_name(user, name, day)[: MOST_FOUND + 1]
    ]


def _name_text(person: Any) -> str:
    """By which name they were found: one they have now, if any."""
    if person.rank > BEGINS and person.had_name:
        return _("Was called %(name)s.") % {"name": person.had_name}
    return _("Has this name.")


def _with_number_or_name(user: User, text: str) -> QuerySet[Person]:
    numbered = _with_employee_number(user, text, None)
    return numbered if numbered.exists() else _with_name(user, text, None)


def _people_in_logs(user: User, rows: Sequence[LoggedRows]) -> dict[tuple[str, date], Person]:
    """Who has or had the numbers that rows of logs name, of those who were here on their days."""
    numbers = {row.employee_number for row in rows} - {""}
    if not numbers:
        return {}
    sites = user.sites_as(Role.QUALITY)
    former = FormerEmployeeNumber.objects.filter(employee_number__in=numbers)
    owners = dict(former.values_list("employee_number", "person"))
    people = Person.objects.filter(
        Q(employee_number__in=numbers) | Q(pk__in=owners.values()),
        _people(user, None, "") | Q(pk__in=ever_at(sites)),
    ).select_related("site")
    by_pk = {person.pk: person for person in people}
    by_number = {person.employee_number: person for person in by_pk.values()}
    by_number |= {number: by_pk[pk] for number, pk in owners.items() if pk in by_pk}
    moved = {pk for pk, person in by_pk.items() if person.site_id not in sites} - {user.person_id}
    away = [days for days in away_from(sites) if days.person_id in moved] if moved else []
    return {
        (row.employee_number, row.day): person
        for row in rows
        if (person := by_number.get(row.employee_number)) is not None
        and not any(
            days.person_id == person.pk and days.first <= row.day <= days.last for days in away
        )
    }


def _logged_text(rows: LoggedRows, person: Person) -> str:
    """In which log and lines it stands, and by which number where that is another by now."""
    checked_at = rows.check.finished_at or rows.check.recorded_at
    lines = ", ".join(str(line) for line in rows.lines)
    more = rows.count - len(rows.lines)
    facts = {
        "log": rows.check.file_name,
        "day": format_day(person.site.today(checked_at)),
        "what": f"{rows.heading} {rows.value}",
        "lines": lines,
        "more": more,
    }
    if more:
        return (
            _("In the log %(log)s, checked on %(day)s: %(what)s, lines %(lines)s, %(more)d more.")
            % facts
        )
    return (
        ngettext(
            "In the log %(log)s, checked on %(day)s: %(what)s, line %(lines)s.",
            "In the log %(log)s, checked on %(day)s: %(what)s, lines %(lines)s.",
            rows.count,
        )
        % facts
    )


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
            match.logged,
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


def _words() -> Words:
    """What a question is made of, in the reader's language."""
    stamp = pgettext("words before the mark of a stamp, parted by commas", "stamp, mark")
    unit = pgettext(
        "words before the number of a unit or work order, parted by commas",
        "unit, serial, traveller, work order, order",
    )
    person = pgettext(
        "words before an employee number, parted by commas",
        "employee number, employee, operator, person, badge",
    )
    asking = pgettext("how a question after somebody begins, parted by commas", "who was, who is")
    joining = pgettext("words before a day or a name, parted by commas", "on, of, from")
    return Words(*map(_parted, (stamp, unit, person, asking, joining)))


def _parted(words: str) -> tuple[str, ...]:
    return tuple(word.strip().lower() for word in words.split(","))


def _trouble_text(refused: NotUnderstood) -> str:
    facts = {"text": refused.text}
    if refused.trouble == Trouble.NO_SUCH_DAY:
        return _("There is no %(text)s: give a day of the calendar.") % facts
    if refused.trouble == Trouble.TWO_WAYS:
        return _("%(text)s can be read as two days. Write it as 2026-05-03 or 3 May 2026.") % facts
    return _("Name a stamp, a number or a name and a day, or a unit or work order.")


def _out_of_reach(day: date, today: date) -> str:
    if day > today:
        return _("%(day)s is still to come: today is %(today)s.") % {
            "day": format_day(day),
            "today": format_day(today),
        }
    return _("Give a day from %(year)s on.") % {"year": EARLIEST.year}


def _why_nobody(question: Question, stamps: list[Stamp], people: list[Person]) -> str:
    """Why nobody is named, as far as the reader's sites go."""
    facts = {"number": question.number}
    if question.day is not None:
        facts["day"] = format_day(question.day)
    if stamps and question.day is None:
        return _("Add the day to see who held stamp %(number)s then.") % facts
    if people:
        return _("Add the day to see how they stood then.")
    if stamps:
        return _("Nobody held stamp %(number)s on %(day)s.") % facts
    match question.kind:
        case Kind.STAMP:
            return _("No stamp %(number)s has been issued at your sites.") % facts
        case Kind.PERSON:
            return _("Nobody at your sites has the number or name %(number)s.") % facts
        case Kind.UNIT if question.day is not None:
            return _("No work on %(number)s is recorded for %(day)s at your sites.") % facts
        case Kind.UNIT:
            return _("No work or board at your sites names %(number)s.") % facts
    return _("No stamp, person, work or board at your sites bears %(number)s.") % facts
