"""Through which day somebody's right to a kind of work truly runs, and what would keep it.

A certificate's own last day says less: the vision test or a rest from the work may end the right
sooner, and an older certificate may carry it on. So it is read from the stored spans.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Max, Q
from django.utils.translation import gettext_lazy as _

from certification.domain.answers import Standing
from certification.models import Scope, StandingEnd, StandingSpan
from people.models import Person
from training.models import ClassSession, Lesson, PracticeRecord, VisionTest

Kind = StandingEnd.Kind

KEPT_BY = {
    Kind.VISION: _("pass a vision test by then"),
    Kind.PRACTICE: _("do such work by then and have it recorded"),
    Kind.CERTIFICATE: _("be re-certified by then"),
}


@dataclass(frozen=True, slots=True)
class Right:
    """The days through which somebody may do one kind of work if nothing is done.

    ``last_day`` is the last good one, None where no end is known. ``ends`` has by kind the last
    day that each thing needed leaves by itself.
    """

    last_day: date | None
    ends: dict[str, date] = field(default_factory=dict)

    @property
    def vision_through(self) -> date | None:
        return self.ends.get(Kind.VISION)

    @property
    def practice_through(self) -> date | None:
        return self.ends.get(Kind.PRACTICE)

    @property
    def kept_by(self) -> list[Any]:
        """Everything that is to be done by the last day; empty where an entry ends the right."""
        return [
            words
            for kind, words in KEPT_BY.items()
            if self.last_day is not None and self.ends.get(kind) == self.last_day
        ]


def rights_of(person: Person, day: date) -> dict[int, Right]:
    """The rights that a person has on a day, by the scope's id."""
    spans = (
        StandingSpan.objects.filter(Q(last_day__isnull=True) | Q(last_day__gte=day), person=person)
        .prefetch_related("ends")
        .order_by("scope", "first_day")
    )
    by_scope: dict[int, list[StandingSpan]] = {}
    for span in spans:
        by_scope.setdefault(span.scope_id, []).append(span)
    rights = {}
    for scope_id, ahead in by_scope.items():
        last = _last_of_the_right(ahead)
        if last is not None and ahead[0].first_day <= day:
            rights[scope_id] = Right(
                last.last_day, {end.kind: end.last_day for end in last.ends.all()}
            )
    return rights


def _last_of_the_right(spans: Sequence[StandingSpan]) -> StandingSpan | None:
    """The span with which a yes ends that the first of them gives."""
    last = None
    for span in spans:
        if span.standing != Standing.CERTIFIED:
            break
        last = span
    return last


def last_vision_test(person: Person) -> date | None:
    tests = VisionTest.objects.not_withdrawn().filter(person=person)
    return tests.aggregate(day=Max("tested_on"))["day"]


def last_work(person: Person) -> dict[str, date]:
    """The day of the latest work recorded, by the scope's code."""
    work = PracticeRecord.objects.not_withdrawn().filter(person=person).order_by()
    latest = work.values("scope_code").annotate(day=Max("performed_on"))
    return dict(latest.values_list("scope_code", "day"))


def classes_of(person: Person, scopes: Iterable[Scope], day: date) -> dict[str, ClassSession]:
    """The first class somebody is enrolled in that teaches a scope, by the scope's code."""
    sessions = list(
        ClassSession.objects.filter(enrolments__person=person, ends_on__gte=day)
        .select_related("course_revision__course", "site")
        .order_by("starts_on", "number")
    )
    taught: dict[int, set[str]] = {}
    lessons = Lesson.objects.filter(
        course_revision__in={session.course_revision_id for session in sessions},
        exercise__positions__scope_code__in=[scope.code for scope in scopes],
    )
    for revision, code in lessons.order_by().values_list(
        "course_revision", "exercise__positions__scope_code"
    ):
        taught.setdefault(revision, set()).add(code)
    first: dict[str, ClassSession] = {}
    for session in sessions:
        for code in taught.get(session.course_revision_id, ()):
            first.setdefault(code, session)
    return first
