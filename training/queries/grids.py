"""The people and tools of a grid, whoever needs it soonest first."""

from collections.abc import Collection, Iterable
from datetime import date, timedelta
from typing import Any

from django.db.models import F, Max, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from people.models import User
from people.models.people import PersonQuerySet, at_work_on
from people.queries.site_days import Days
from training import ports
from training.models import (
    Attendance,
    Calibration,
    ClassSession,
    PracticeRecord,
    Tool,
    VisionTest,
)

from .tool_fitness import with_state

ROWS_AT_MOST = 100
"""How many rows a grid shows; more are found by narrowing the list."""

DAYS_NOTED = 45
"""How far back a row says what is recorded of a day already."""


def narrowed(people: PersonQuerySet, filters: dict[str, Any], days: Days) -> PersonQuerySet:
    """Of these people those at work, as far as the filters ask for them."""
    people = people.filter(days.each(at_work_on, "site")).search(filters.get("q", ""))
    if "session" in filters:
        people = people.filter(enrolments__session=filters["session"])
    if "lead" in filters:
        people = people.filter(line_lead=filters["lead"])
    if "site" in filters:
        people = people.filter(site=filters["site"])
    return people


def by_vision_test(people: PersonQuerySet, days: Days) -> PersonQuerySet:
    """People with their newest vision test, those first whose test ends soonest or is over."""
    tests = VisionTest.objects.not_withdrawn().filter(person=OuterRef("pk"))
    newest = tests.order_by("-tested_on", "-recorded_at", "-test_id")
    return (
        ports.with_vision_ends(people, days)
        .annotate(
            last_tested_on=Subquery(newest.values("tested_on")[:1]),
            last_test_passed=Subquery(newest.values("passed")[:1]),
        )
        .order_by(
            Coalesce("vision_over_since", "vision_ends_on").asc(nulls_last=True),
            F("last_tested_on").asc(nulls_last=True),
            "full_name",
            "employee_number",
        )
    )


def by_practice(people: PersonQuerySet, scope_code: str) -> PersonQuerySet:
    """People with the last day of their work in a scope, the longest ago first, never last."""
    work = PracticeRecord.objects.not_withdrawn().filter(
        person=OuterRef("pk"), scope_code=scope_code
    )
    last = work.order_by().values("person").annotate(last=Max("performed_on"))
    return people.annotate(last_worked_on=Subquery(last.values("last")[:1])).order_by(
        F("last_worked_on").asc(nulls_last=True), "full_name", "employee_number"
    )


def by_calibration(tools: QuerySet[Tool]) -> QuerySet[Tool]:
    """Tools with their newest calibration, those first whose calibration ends soonest."""
    return with_state(tools.filter(without_calibration=False)).order_by(
        F("good_through").asc(nulls_first=True), "code"
    )


def rows_shown(
    everything: QuerySet[Any], listed: QuerySet[Any], kept: Collection[int]
) -> list[Any]:
    """The first rows of the list, after those that are kept whatever the list is narrowed to.

    ``listed`` is what the filters leave of ``everything``, both in the order of the grid.
    """
    found = list(listed[:ROWS_AT_MOST])
    missing = set(kept) - {row.pk for row in found}
    return [*everything.filter(pk__in=missing), *found] if missing else found


def tests_noted(keys: Iterable[int], today: date) -> QuerySet[VisionTest]:
    """Vision tests of these people that a row may have to tell of."""
    return (
        VisionTest.objects.not_withdrawn()
        .filter(person__in=keys, tested_on__gt=today - timedelta(days=DAYS_NOTED))
        .select_related("recorded_by__person")
    )


def work_noted(keys: Iterable[int], scope_code: str, today: date) -> QuerySet[PracticeRecord]:
    """Work of these people in a scope that a row may have to tell of."""
    return PracticeRecord.objects.not_withdrawn().filter(
        person__in=keys, scope_code=scope_code, performed_on__gt=today - timedelta(days=DAYS_NOTED)
    )


def calibrations_noted(keys: Iterable[int], today: date) -> QuerySet[Calibration]:
    """Calibrations of these tools that a row may have to tell of."""
    return Calibration.objects.not_withdrawn().filter(
        tool__in=keys, calibrated_on__gt=today - timedelta(days=DAYS_NOTED)
    )


def attendance_recorded(session: ClassSession, day: date) -> dict[int, bool]:
    """Whether each is recorded as there on a day of a class, by the key of their enrolment."""
    recorded = Attendance.objects.filter(enrolment__session=session, day=day)
    return dict(recorded.values_list("enrolment", "present"))


def last_test_by(user: User) -> VisionTest | None:
    """The vision test that somebody wrote down last: who tested, and how, is often the same."""
    return VisionTest.objects.filter(recorded_by=user).order_by("-recorded_at", "-pk").first()


def last_scope_confirmed_by(user: User) -> str:
    """The scope in which somebody confirmed work last; empty where they never did."""
    work = PracticeRecord.objects.filter(confirmed_by=user).order_by("-recorded_at", "-pk")
    return work.values_list("scope_code", flat=True).first() or ""


def last_calibration_of(tools: QuerySet[Tool]) -> Calibration | None:
    """The calibration recorded last of any of these tools: the next is often as long."""
    newest = Calibration.objects.not_withdrawn().filter(tool__in=tools.values("pk"), passed=True)
    return newest.order_by("-recorded_at", "-pk").first()
