"""A plan of classes for 500 people and 40 possible classes, beside taking people as they end.

Invented: five kinds of work, ends over half a year, classes of one to three days, four
instructors and two rooms, line leads who let three people go at once, and people away one day in
twelve. Run with `python -m benchmarks.class_plan`; it asserts nothing.
"""

import random
import resource
import time
from collections import defaultdict
from collections.abc import Hashable
from datetime import date, timedelta

from certification.domain.class_plan import (
    Limits,
    Need,
    PossibleClass,
    Trainee,
    lapsed_if_met,
    lapsed_if_unmet,
    plan_classes,
)

PEOPLE, CLASSES, DAYS = 500, 40, 180
FIRST = date(2026, 11, 2)
THROUGH = FIRST + timedelta(days=DAYS)
SEED = 20261102


def shop(seed: int) -> tuple[list[Trainee], list[PossibleClass], Limits]:
    """People, classes and limits, drawn from a seed."""
    draw = random.Random(seed)  # noqa: S311 - a made-up shop
    scopes = [f"S{n}" for n in range(5)]
    weekdays = [day for n in range(DAYS) if (day := FIRST + timedelta(days=n)).isoweekday() <= 5]
    trainees = [
        Trainee(
            key=n,
            needs=[
                Need(scope, FIRST + timedelta(days=draw.randrange(-10, DAYS)), 30)
                for scope in draw.sample(scopes, draw.choice([1, 1, 2]))
            ],
            lead=n % 25,
            away=frozenset(draw.sample(weekdays, len(weekdays) // 12)),
        )
        for n in range(PEOPLE)
    ]
    teachers = ["Ines", "Bo", "Cai", "Tove"]
    possible = []
    for n in range(CLASSES):
        first = draw.randrange(len(weekdays) - 3)
        possible.append(
            PossibleClass(
                key=n,
                days=weekdays[first : first + draw.randint(1, 3)],
                places=draw.choice([8, 10, 12]),
                scopes=frozenset(draw.sample(scopes, draw.randint(1, 2))),
                instructors=draw.sample(teachers, 2),
                room=draw.choice(["1", "2"]),
            )
        )
    away: dict[Hashable, frozenset[date]] = {
        one: frozenset(draw.sample(weekdays, 15)) for one in teachers
    }
    spared: dict[Hashable, int] = dict.fromkeys(range(25), 3)
    return trainees, possible, Limits(spared, away)


def as_they_end(
    trainees: list[Trainee], possible: list[PossibleClass], limits: Limits
) -> tuple[int, int]:
    """Days lapsed and classes held where each in turn takes the first class with a place."""
    wanted = sorted(
        ((need, one) for one in trainees for need in one.needs),
        key=lambda pair: pair[0].ends_on,
    )
    taken: dict[object, set[object]] = defaultdict(set)
    teaching: dict[object, object] = {}
    busy: set[object] = set()
    led: dict[object, int] = defaultdict(int)
    lapsed = 0

    def teacher_of(each: PossibleClass) -> object | None:
        if each.key in teaching:
            return teaching[each.key]
        for teacher in each.instructors:
            uses = {(kind, day) for kind in (teacher, f"room {each.room}") for day in each.days}
            if not uses & busy and limits.instructors_away[teacher].isdisjoint(each.days):
                busy.update(uses)
                return teacher
        return None

    for need, one in wanted:
        cost = lapsed_if_unmet(need, THROUGH)
        for each in sorted(possible, key=lambda each: each.days[-1]):
            others = {day for held in possible if one.key in taken[held.key] for day in held.days}
            fits = (
                need.scope in each.scopes
                and one.away.isdisjoint(each.days)
                and others.isdisjoint(each.days)
                and len(taken[each.key]) < each.places
                and all(led[one.lead, day] < limits.lead_limits[one.lead] for day in each.days)
                and lapsed_if_met(need, each, THROUGH) < cost
            )
            if fits and (teacher := teacher_of(each)) is not None:
                teaching[each.key] = teacher
                taken[each.key].add(one.key)
                for day in each.days:
                    led[one.lead, day] += 1
                cost = lapsed_if_met(need, each, THROUGH)
                break
        lapsed += cost
    return lapsed, len(teaching)


def main() -> None:
    trainees, possible, limits = shop(SEED)
    begun = time.perf_counter()
    lapsed, held = as_they_end(trainees, possible, limits)
    print(f"as they end: {lapsed} days lapsed, {held} classes, {time.perf_counter() - begun:.1f} s")
    begun = time.perf_counter()
    plan = plan_classes(trainees, possible, limits, THROUGH, time_limit_s=45)
    took = time.perf_counter() - begun
    for name in ("lapsed_days", "classes_held", "days_given_away"):
        objective = getattr(plan, name)
        print(f"{name}: {objective.value}, at least {objective.bound}, gap {objective.gap}")
    late = sum(one.lapsed_days for one in plan.unmet)
    print(f"not met: {len(plan.unmet)} certificates, {late} of the days lapsed")
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{PEOPLE} people, {CLASSES} classes: {took:.1f} s, {memory:.0f} MB")


if __name__ == "__main__":
    main()
