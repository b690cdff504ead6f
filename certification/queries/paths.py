"""The way of people to certificates, from the rows, for `certification.domain.path`."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from django.db.models import Exists, prefetch_related_objects
from django.utils.translation import gettext as _

from assessments.models import Board, ToolWorkDecision
from assessments.models.boards import sent_back
from assessments.queries.tool_work import to_do_again
from certification.domain.path import AskedBoards, BoardMade, Path, PathRecord
from certification.domain.standing import Facts
from certification.models import SchemeRequirement, SchemeRevision
from people.models import Person
from training.models import Enrolment, Exercise, Lesson
from training.queries.completed import attended_whole

from . import judged_days, path_sentences, standing_on_day
from .scheme_drafts import path_figures_of
from .schemes_in_force import asking_for_boards

MAKE_AGAIN = ToolWorkDecision.Decision.MAKE_AGAIN

Asking = tuple[Person, SchemeRevision, Sequence[SchemeRequirement], Facts, date]
"""A person, the revision, its rows for the scope, the facts in the scope, and the day."""


def has_rules(revision: SchemeRevision, rows: Iterable[SchemeRequirement]) -> bool:
    """Whether a revision asks more of the way than the boards themselves."""
    return bool(path_figures_of(revision)) or any(
        row.after_exercise or row.after_course for row in rows
    )


def paths_where_ruled(asking: Iterable[Asking]) -> list[Path | None]:
    """The way of each, None where the scheme asks for no order, no waiting and no limit."""
    asking = list(asking)
    ruled = [one for one in asking if has_rules(one[1], one[2])]
    ways = iter(paths_of(ruled)) if ruled else iter(())
    return [next(ways) if has_rules(one[1], one[2]) else None for one in asking]


def paths_of(asking: Sequence[Asking]) -> list[Path]:
    """The way of each person under a revision, in the same few queries for one or many."""
    earlier = _earlier_revisions(asking)
    earlier_rows = requirement_rows(
        {revision.pk for before in earlier.values() for revision in before},
        {row.scope_id for _person, _revision, rows, *_rest in asking for row in rows},
    )
    rows_of_all = [row for one in asking for row in one[2]]
    rows_of_all += [row for rows in earlier_rows.values() for row in rows]
    records = _records({one[0].pk for one in asking}, rows_of_all)
    ways = []
    for person, revision, rows, facts, day in asking:
        way = None
        scopes = {row.scope_id for row in rows}
        for before in earlier.get(revision.pk, ()):
            asked = [row for scope in scopes for row in earlier_rows[before.pk, scope]]
            way = _path(person, before, asked, facts, day, records, way)
        ways.append(_path(person, revision, rows, facts, day, records, way))
    return ways


def _earlier_revisions(asking: Iterable[Asking]) -> dict[int, list[SchemeRevision]]:
    """Of revisions that ask for an order those of their schemes published before, oldest first."""
    ruled = {one[1].pk: one[1] for one in asking if has_rules(one[1], one[2])}
    if not ruled:
        return {}
    of_scheme: dict[int, list[SchemeRevision]] = defaultdict(list)
    published = SchemeRevision.objects.filter(
        scheme__in={revision.scheme_id for revision in ruled.values()}, published_at__isnull=False
    )
    for revision in published.order_by("published_at", "revision"):
        of_scheme[revision.scheme_id].append(revision)
    return {
        pk: [
            before
            for before in of_scheme[revision.scheme_id]
            if before.revision < revision.revision
        ]
        for pk, revision in ruled.items()
    }


def _path(
    person: Person,
    revision: SchemeRevision,
    rows: Iterable[SchemeRequirement],
    facts: Facts,
    day: date,
    records: Mapping[int, PathRecord],
    earlier: Path | None,
) -> Path:
    return Path(
        [asked_boards(row) for row in rows],
        path_figures_of(revision),
        records[person.pk],
        issued=days_of_issue(facts, day),
        after=last_revocation(facts, day),
        published_on=_published_on(revision, person),
        earlier=earlier,
    )


def _published_on(revision: SchemeRevision, person: Person) -> date | None:
    return person.site.today(revision.published_at) if revision.published_at else None


def asked_boards(row: SchemeRequirement) -> AskedBoards:
    return AskedBoards(
        exercise=row.exercise_code,
        boards=row.boards,
        purposes=frozenset(row.purposes),
        within_months=row.within_months,
        after_exercise=row.after_exercise,
        after_course=row.after_course,
    )


def last_revocation(facts: Facts, day: date) -> date | None:
    """The day of the last revocation among some facts, up to a day."""
    days = [
        history.revoked_on
        for history in standing_on_day.histories_in(facts).values()
        if history.revoked_on is not None and history.revoked_on <= day
    ]
    return max(days, default=None)


def days_of_issue(facts: Facts, day: date) -> list[date]:
    """The days on which certificates among some facts were issued, up to a day."""
    return [
        history.certificate.issued_on
        for history in standing_on_day.histories_in(facts).values()
        if history.certificate.issued_on <= day
    ]


def _records(
    person_ids: Collection[int], rows: Collection[SchemeRequirement]
) -> Mapping[int, PathRecord]:
    codes = {row.exercise_code for row in rows}
    boards = _boards_made(person_ids, codes)
    wanted = {row.after_course for row in rows} - {""}
    courses, classes = _attended(person_ids, wanted, codes)
    return {
        pk: PathRecord(boards.get(pk, []), courses.get(pk, {}), classes.get(pk, {}))
        for pk in person_ids
    }


def _boards_made(
    person_ids: Collection[int], codes: Collection[str]
) -> Mapping[int, list[BoardMade]]:
    """Every board of some exercises that people were handed and that was not cancelled.

    One that was sent back to be reworked is with its maker once more, and not judged to the end;
    nor is one that is judged again because of a tool. One that is made again for that is no
    attempt. What was disposed of stays as far as it was judged: nobody goes on with it.
    """
    kept = Board.objects.filter(
        person__in=person_ids, exercise__code__in=codes, cancelled_at__isnull=True
    )
    again = to_do_again(kept)
    found = (
        kept.exclude(pk__in=[pk for pk, why in again.items() if why.decision == MAKE_AGAIN])
        .select_related("exercise", "site", "outcome")
        .annotate(is_sent_back=Exists(sent_back()))
    )
    boards = {board.pk: board for board in found}
    judged = [pk for pk, board in boards.items() if _is_decided(board) and pk not in again]
    signings = judged_days.signings_of(judged)
    made: dict[int, list[BoardMade]] = defaultdict(list)
    for pk, board in boards.items():
        at = judged_days.judged_at(board, signings[pk]) if pk in signings else None
        # What was disposed of before it was judged is no attempt that anybody waits for.
        if at is None and board.disposed_at is not None:
            continue
        made[board.person_id].append(
            BoardMade(
                number=board.number,
                exercise=board.exercise.code,
                purpose=board.purpose,
                handed_out_on=board.handed_out_on,
                judged_on=board.site.today(at) if at else date.max,
                passed=bool(board.outcome.passed) if at else None,
                is_handed_in=board.handed_in_at is not None and not board.is_sent_back,
            )
        )
    return made


def _is_decided(board: Any) -> bool:
    """Whether a board is judged to the end, or can never pass any more."""
    outcome = getattr(board, "outcome", None)
    if outcome is None:
        return False
    if board.disposed_at is not None:
        return outcome.complete or outcome.critical_rejections > 0
    return outcome.complete and not board.is_sent_back


LastDays = Mapping[int, Mapping[str, list[date]]]
FirstAndLastDays = Mapping[int, Mapping[str, list[tuple[date, date]]]]


def _attended(
    person_ids: Collection[int], courses: Collection[str], exercises: Collection[str]
) -> tuple[LastDays, FirstAndLastDays]:
    """Classes attended on all of their days: by course their last days, by exercise the first too.

    Both by the person's key.
    """
    by_course: dict[int, dict[str, list[date]]] = defaultdict(lambda: defaultdict(list))
    by_exercise: dict[int, dict[str, list[tuple[date, date]]]] = defaultdict(
        lambda: defaultdict(list)
    )
    taught: dict[int, set[str]] = defaultdict(set)
    for revision, code in Lesson.objects.filter(exercise__code__in=exercises).values_list(
        "course_revision", "exercise__code"
    ):
        taught[revision].add(code)
    enrolments = [
        enrolment
        for enrolment in Enrolment.objects.filter(
            person__in=person_ids, session__cancelled_at__isnull=True
        ).select_related("session__course_revision__course")
        if enrolment.session.course_revision_id in taught
        or enrolment.session.course_revision.course.code in courses
    ]
    for enrolment, first_day, last_day in attended_whole(enrolments):
        taught_from = enrolment.session.course_revision
        by_course[enrolment.person_id][taught_from.course.code].append(last_day)
        for code in taught.get(taught_from.pk, ()):
            by_exercise[enrolment.person_id][code].append((first_day, last_day))
    return by_course, by_exercise


def requirement_rows(
    revision_ids: Collection[int], scope_ids: Collection[int]
) -> Mapping[tuple[int, int], list[SchemeRequirement]]:
    """What revisions ask for scopes, by the keys of both."""
    rows: dict[tuple[int, int], list[SchemeRequirement]] = defaultdict(list)
    for row in SchemeRequirement.objects.filter(revision__in=revision_ids, scope__in=scope_ids):
        rows[row.revision_id, row.scope_id].append(row)
    return rows


def hindrances(
    exercise: Exercise, people: Collection[Person], day: date, leaving: str = ""
) -> dict[int, str]:
    """Of some people why none of them may be handed a board for qualification, by their keys.

    Of several schemes in force and scopes that ask for the exercise it is enough that one lets
    somebody begin: the board then counts for that one. ``leaving`` is the number of a board that
    is left aside, as it is the one asked about.
    """
    asked = [one for one in asking_for_boards() if exercise.code in one.exercise_codes]
    rows = requirement_rows({one.revision.pk for one in asked}, {one.scope.pk for one in asked})
    pairs = [(one, rows[one.revision.pk, one.scope.pk]) for one in asked]
    if not pairs or not all(has_rules(one.revision, of_pair) for one, of_pair in pairs):
        return {}
    read = standing_on_day.read_for_many(
        [(person.pk, one.scope.pk) for one in asked for person in people]
    )
    prefetch_related_objects(list(people), "site")
    asking = [
        (person, one.revision, of_pair, read[person.pk, one.scope.pk].facts, day)
        for person in people
        for one, of_pair in pairs
    ]
    why: dict[int, list[str]] = defaultdict(list)
    names = path_sentences.names_in([row for _one, of_pair in pairs for row in of_pair])
    for way, (person, *_rest) in zip(paths_of(asking), asking, strict=True):
        hindrance = way.hindrance(exercise.code, day, leaving)
        if hindrance is not None:
            why[person.pk].append(
                path_sentences.why_not_yet(hindrance, exercise.title, way.figures, names)
            )
    return {
        person.pk: _("%(person)s: %(why)s") % {"person": person.full_name, "why": why[person.pk][0]}
        for person in people
        if len(why[person.pk]) == len(pairs)
    }
