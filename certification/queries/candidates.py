"""Who could be proposed: people in a class, or with boards passed lately, and the scopes for it.

Everything is read for many people at once, in the same queries for one as for a class.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Max

from assessments.models import Board
from certification.models import Certificate, Proposal
from people.models import Person
from people.models.people import at_work_on
from people.queries.site_days import Days
from training.models import ClassSession, Exercise

from . import standing_on_day
from .requirements import Candidate
from .schemes_in_force import Asked, asking_for_boards

PASSED_LATELY = timedelta(days=180)
MOST_CANDIDATES = 200


@dataclass(frozen=True)
class Candidates:
    """Candidates in the order of their names, and whether there were more than are read."""

    found: Sequence[Candidate]
    has_more: bool = False


def in_class(session: ClassSession, sites: Collection[int], days: Days, but: int = 0) -> Candidates:
    """Everybody of these sites in a class, with every scope that its exercises lead to.

    ``but`` is one person who is left out: whoever asks proposes nobody but others.
    """
    exercises = Exercise.objects.filter(
        lessons__course_revision=session.course_revision_id
    ).order_by()
    codes = set(exercises.values_list("code", flat=True))
    credited = set(exercises.values_list("positions__scope_code", flat=True))
    asked = [
        one
        for one in asking_for_boards()
        if one.exercise_codes & codes or one.scope.code in credited
    ]
    people = (
        Person.objects.filter(days.each(at_work_on, "site"), enrolments__session=session)
        .filter(site__in=sites)
        .exclude(pk=but)
        .select_related("site")
        .order_by("full_name", "employee_number")
    )
    return _candidates([(person, one) for one in asked for person in people], days)


def passed_lately(sites: Collection[int], days: Days, now: datetime, but: int = 0) -> Candidates:
    """Whoever passed a board lately that a scheme asks for, and has not been certified since."""
    asked = asking_for_boards()
    passed = (
        Board.objects.passed()
        .filter(
            person__site__in=sites,
            person__in=Person.objects.filter(days.each(at_work_on, "site")),
            exercise__code__in={code for one in asked for code in one.exercise_codes},
            outcome__decided_at__gte=now - PASSED_LATELY,
        )
        .exclude(person=but)
        .order_by()
        .values_list("person", "exercise__code")
        .annotate(latest=Max("outcome__decided_at"))
    )
    latest: dict[tuple[int, str], datetime] = {(pk, code): at for pk, code, at in passed}
    of_person: dict[int, set[str]] = {}
    for pk, code in latest:
        of_person.setdefault(pk, set()).add(code)
    certified = _last_issued(of_person)
    since: dict[tuple[int, int], datetime] = {}
    for pk, codes in of_person.items():
        for one in asked:
            boards = [latest[pk, code] for code in one.exercise_codes & codes]
            issued_on = certified.get((pk, one.scope.pk), date.min)
            if boards and max(boards).date() > issued_on:
                since[pk, one.scope.pk] = max(boards)
    # The latest passed come first where there are more than are read.
    chosen = sorted(since, key=lambda pair: since[pair], reverse=True)[:MOST_CANDIDATES]
    people = {
        person.pk: person
        for person in Person.objects.filter(pk__in={pk for pk, _scope in chosen})
        .select_related("site")
        .order_by("full_name", "employee_number")
    }
    wanted = set(chosen)
    pairs = [
        (person, one)
        for one in asked
        for pk, person in people.items()
        if (pk, one.scope.pk) in wanted
    ]
    return _candidates(pairs, days, has_more=len(since) > MOST_CANDIDATES)


def by_exercise(person: Person, exercise_code: str, day: date) -> Candidates:
    """Somebody, with every scope for which a scheme in force asks boards of an exercise."""
    asked = [one for one in asking_for_boards() if exercise_code in one.exercise_codes]
    return _candidates([(person, one) for one in asked], Days(day))


def _last_issued(person_ids: Iterable[int]) -> dict[tuple[int, int], date]:
    """The day on which each person's last certificate in a scope was issued."""
    rows = (
        Certificate.objects.not_withdrawn()
        .filter(person__in=list(person_ids))
        .order_by()
        .values_list("person", "scope")
        .annotate(last=Max("issued_on"))
    )
    return {(person, scope): last for person, scope, last in rows}


def _candidates(
    pairs: Sequence[tuple[Person, Asked]], days: Days, *, has_more: bool = False
) -> Candidates:
    read = standing_on_day.read_for_many([(person.pk, asked.scope.pk) for person, asked in pairs])
    return Candidates(
        [
            Candidate(
                person,
                asked.scope,
                asked.revision,
                days.at(person.site_id),
                read[person.pk, asked.scope.pk],
            )
            for person, asked in pairs
        ],
        has_more,
    )


def open_proposals(candidates: Iterable[Candidate]) -> dict[tuple[int, int], Proposal]:
    """The proposals of these people that wait to be decided, by person and scope."""
    rows = Proposal.objects.open().filter(person__in={one.person.pk for one in candidates})
    return {(row.person_id, row.scope_id): row for row in rows}
