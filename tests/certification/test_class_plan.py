"""A plan of classes is the best there is: held against every plan that could be made."""

import doctest
import itertools
import random
from dataclasses import replace
from datetime import date, timedelta

import pytest

from certification.domain import class_plan
from certification.domain.class_plan import (
    CannotBeKept,
    Limits,
    Need,
    Plan,
    PossibleClass,
    Trainee,
    Why,
    given_away,
    lapsed_if_met,
    lapsed_if_unmet,
    plan_classes,
)

DAY = date(2026, 11, 2)
THROUGH = DAY + timedelta(days=60)


def day(number):
    return DAY + timedelta(days=number)


def possible(key="A", days=(10,), **fields):
    return PossibleClass(
        **{
            "key": key,
            "days": [day(number) for number in days],
            "places": 2,
            "scopes": frozenset({"S"}),
            "instructors": ["ines"],
            **fields,
        }
    )


def trainee(key="ada", ends=20, **fields):
    return Trainee(**{"key": key, "needs": [Need("S", day(ends))], **fields})


def plan(trainees, classes, **limits) -> Plan:
    return plan_classes(trainees, classes, Limits(**limits), THROUGH, time_limit_s=30)


def figures(made: Plan) -> tuple[int, ...]:
    objectives = (made.lapsed_days, made.classes_held, made.days_given_away)
    assert [one.gap for one in objectives] == [0, 0, 0]
    return tuple(one.value for one in objectives)


# Every plan that could be made


def every_choice(one, classes):
    """The sets of classes that somebody could go to, by their places in the list."""
    usable = [
        number
        for number, each in enumerate(classes)
        if each.days[-1] <= THROUGH
        and one.away.isdisjoint(each.days)
        and each.scopes & {need.scope for need in one.needs}
    ]
    for size in range(len(usable) + 1):
        for chosen in itertools.combinations(usable, size):
            days = [held for number in chosen for held in classes[number].days]
            if len(days) == len(set(days)) and _keeps_fixed(one, chosen, classes):
                yield chosen


def _keeps_fixed(one, chosen, classes):
    renewed = [(classes[number].key, classes[number].scopes) for number in chosen]
    return all(
        kept is None or any(kept == key and scope in scopes for key, scopes in renewed)
        for scope, kept in one.fixed.items()
    )


def can_be_taught(held, classes, limits, teachers=()):
    """Whether each class held has an instructor and a room to itself."""
    if len(teachers) < len(held):
        return any(
            can_be_taught(held, classes, limits, (*teachers, one))
            for one in classes[held[len(teachers)]].instructors
        )
    taken = set()
    for number, teacher in zip(held, teachers, strict=True):
        each = classes[number]
        for held_on in each.days:
            uses = {("teacher", teacher, held_on)}
            if each.room is not None:
                uses.add(("room", each.room, held_on))
            if uses & taken or held_on in limits.instructors_away.get(teacher, ()):
                return False
            taken |= uses
    return True


def keeps_limits(choices, trainees, classes, limits):
    in_class, of_lead = {}, {}
    for one, chosen in zip(trainees, choices, strict=True):
        for number in chosen:
            in_class[number] = in_class.get(number, 0) + 1
            for held_on in classes[number].days:
                of_lead[one.lead, held_on] = of_lead.get((one.lead, held_on), 0) + 1
    return all(count <= classes[number].places for number, count in in_class.items()) and all(
        count <= limits.lead_limits.get(lead, count) for (lead, _day), count in of_lead.items()
    )


def cost_of(one, chosen, classes):
    """The least that somebody's needs cost in the classes they go to: days lapsed, days given."""
    lapsed = given = 0
    for need in one.needs:
        options = (
            [] if one.fixed.get(need.scope) is not None else [(lapsed_if_unmet(need, THROUGH), 0)]
        )
        options += [
            (lapsed_if_met(need, classes[number], THROUGH), given_away(need, classes[number]))
            for number in chosen
            if need.scope in classes[number].scopes
            and one.fixed.get(need.scope, classes[number].key) == classes[number].key
        ]
        least = min(options)
        lapsed, given = lapsed + least[0], given + least[1]
    return lapsed, given


def best_of_all(trainees, classes, limits):
    """The least figures over every plan there is."""
    options = [list(every_choice(one, classes)) for one in trainees]
    taught = {}
    best = None
    for choices in itertools.product(*options):
        held = tuple(sorted(set().union(*choices)))
        if held not in taught:
            taught[held] = can_be_taught(held, classes, limits)
        if not taught[held] or not keeps_limits(choices, trainees, classes, limits):
            continue
        costs = [
            cost_of(one, chosen, classes) for one, chosen in zip(trainees, choices, strict=True)
        ]
        found = (sum(cost[0] for cost in costs), len(held), sum(cost[1] for cost in costs))
        best = found if best is None else min(best, found)
    return best


def at_random(seed):
    """A small shop: up to six people, up to four classes, everything short of something."""
    draw = random.Random(seed)
    scopes, teachers = ["S", "T"], ["ines", "bo"]

    def some_days(most):
        return frozenset(day(draw.randrange(25)) for _each in range(draw.randrange(most)))

    classes = []
    for number in range(draw.randint(1, 4)):
        first = draw.randrange(22)
        classes.append(
            PossibleClass(
                key=number,
                days=[day(first + n) for n in range(draw.randint(1, 3))],
                places=draw.randint(1, 3),
                scopes=frozenset(draw.sample(scopes, draw.randint(1, 2))),
                instructors=draw.sample(teachers, draw.randint(0, 2)),
                room=draw.choice([None, "room"]),
            )
        )
    trainees = [
        Trainee(
            key=number,
            needs=[
                Need(scope, day(draw.randrange(-5, 70)), draw.choice([0, 10]))
                for scope in draw.sample(scopes, draw.randint(1, 2))
            ],
            lead=draw.choice(["tove", "cai"]),
            away=some_days(6),
        )
        for number in range(draw.randint(1, 6))
    ]
    limits = Limits({"tove": draw.randint(0, 2)}, {"ines": some_days(4)})
    return trainees, classes, limits


@pytest.mark.parametrize("seed", range(40))
def test_no_plan_is_better(seed):
    trainees, classes, limits = at_random(seed)

    made = plan_classes(trainees, classes, limits, THROUGH, time_limit_s=30)

    assert figures(made) == best_of_all(trainees, classes, limits)
    _is_a_plan(made, trainees, classes, limits)


def _is_a_plan(made, trainees, classes, limits):
    """What is returned keeps to everything and comes to the figures that it says."""
    numbers = {each.key: number for number, each in enumerate(classes)}
    choices = [
        tuple(numbers[key] for key, people in made.places.items() if one.key in people)
        for one in trainees
    ]
    for one, chosen in zip(trainees, choices, strict=True):
        assert chosen == () or tuple(sorted(chosen)) in set(every_choice(one, classes))
    assert keeps_limits(choices, trainees, classes, limits)
    held = tuple(numbers[key] for key in made.places)
    teachers = tuple(made.instructors[key] for key in made.places)
    assert can_be_taught(held, classes, limits, teachers)
    assert all(made.instructors[key] in classes[numbers[key]].instructors for key in made.places)
    costs = [cost_of(one, chosen, classes) for one, chosen in zip(trainees, choices, strict=True)]
    assert (sum(cost[0] for cost in costs), len(held)) == figures(made)[:2]


# What is made small


def test_who_ends_first_gets_the_early_place():
    classes = [possible("early", (10,), places=1), possible("late", (30,), places=1)]

    made = plan([trainee("ada", 40), trainee("bo", 12)], classes)

    assert made.places == {"early": ["bo"], "late": ["ada"]}
    assert figures(made) == (0, 2, 2 + 10)


def test_lapsed_days_count_before_a_class_saved():
    classes = [possible("early", (10,)), possible("late", (30,))]

    made = plan([trainee("ada", 28), trainee("bo", 60)], classes)

    # Nothing of the second lapses within the time, so nobody holds a class for it.
    assert made.places == {"early": ["ada"]}
    assert figures(made) == (0, 1, 18)


def test_one_class_is_held_where_two_would_save_no_lapse():
    classes = [possible("A", (10,)), possible("B", (11,), instructors=["bo"])]

    assert figures(plan([trainee("ada", 20), trainee("bo", 20)], classes)) == (0, 1, 18)


def test_class_within_the_window_gives_nothing_away():
    one = Trainee("ada", [Need("S", day(20), window_days=10)])

    assert figures(plan([one], [possible()])) == (0, 1, 0)


def test_new_certificate_begins_on_the_last_day_of_the_class():
    made = plan([trainee(ends=7)], [possible(days=(8, 9, 10))])

    assert figures(made) == (2, 1, 0)


@pytest.mark.parametrize(
    ("one", "classes", "limits", "why"),
    [
        (trainee(), [possible(scopes=frozenset({"T"}))], {}, Why.NO_CLASS),
        (trainee(), [possible(days=(90,))], {}, Why.NO_CLASS),
        (trainee(away=frozenset({day(10)})), [possible()], {}, Why.AWAY),
        (trainee(), [possible(instructors=[])], {}, Why.NO_INSTRUCTOR),
        (
            trainee(),
            [possible()],
            {"instructors_away": {"ines": frozenset({day(10)})}},
            Why.NO_INSTRUCTOR,
        ),
        (trainee(lead="tove"), [possible()], {"lead_limits": {"tove": 0}}, Why.NOT_HELD),
    ],
    ids=["no class", "too late", "away", "no instructor", "instructor away", "lead lets nobody go"],
)
def test_need_that_cannot_be_met_says_why(one, classes, limits, why):
    made = plan([one], classes, **limits)

    [unmet] = made.unmet
    assert (unmet.why, unmet.lapsed_days) == (why, 40)
    assert made.places == {}
    assert figures(made) == (40, 0, 0)


def test_what_ran_out_is_said():
    full = plan([trainee("ada", 5), trainee("bo", 6)], [possible(places=1)])
    assert [one.why for one in full.unmet] == [Why.FULL]

    led = [trainee("ada", 5, lead="tove"), trainee("bo", 6, lead="tove")]
    limited = plan(led, [possible()], lead_limits={"tove": 1})
    assert [one.why for one in limited.unmet] == [Why.LEAD_LIMIT]

    rooms = [possible("A", room="r"), possible("B", room="r", scopes=frozenset({"T"}))]
    both = Trainee("bo", [Need("T", day(30))])
    assert [one.why for one in plan([trainee(), both], rooms).unmet] == [Why.NOT_HELD]

    two = Trainee("cai", [Need("S", day(5)), Need("T", day(6))])
    at_once = [possible("A"), possible("B", scopes=frozenset({"T"}), instructors=["bo"])]
    other = trainee("ada", 5)
    only_t = Trainee("eli", [Need("T", day(6))])
    made = plan([two, other, only_t], at_once)
    assert [(one.trainee, one.why) for one in made.unmet] == [("cai", Why.OTHER_CLASS)]


# What somebody fixed, and what stands without the plan


@pytest.mark.parametrize("seed", range(12))
def test_no_plan_that_keeps_what_is_fixed_is_better(seed):
    """One need is fixed in each way that there is, and the others are free."""
    trainees, classes, limits = at_random(seed)
    first, *others = trainees
    scope = first.needs[0].scope
    for kept in (None, *(each.key for each in classes)):
        fixed = [replace(first, fixed={scope: kept}), *others]
        best = best_of_all(fixed, classes, limits)
        if best is None:
            with pytest.raises(CannotBeKept):
                plan_classes(fixed, classes, limits, THROUGH, time_limit_s=30)
            continue
        made = plan_classes(fixed, classes, limits, THROUGH, time_limit_s=30)
        assert figures(made) == best
        assert made.renewed.get((first.key, scope)) == kept


def test_nobody_is_in_two_classes_where_one_renews_all_at_the_same_cost():
    """Both classes are held for others, so that no objective tells one from two."""
    both = Trainee("ada", [Need("S", day(30), 30), Need("T", day(30), 30)])
    classes = [
        possible("A", (10,), scopes=frozenset({"S", "T"})),
        possible("B", (12,), instructors=["bo"], is_held=True),
    ]

    for order in (classes, classes[::-1]):
        made = plan([both, Trainee("bo", [Need("T", day(30), 30)])], order)
        assert made.places == {"A": ["ada", "bo"]}

    fixed = replace(both, fixed={"S": "B"})
    assert plan([fixed], classes).places == {"A": ["ada"], "B": ["ada"]}


def test_who_was_left_out_is_said():
    made = plan([trainee(fixed={"S": None})], [possible()])

    assert [(one.why, one.lapsed_days) for one in made.unmet] == [(Why.LEFT_OUT, 40)]


def test_class_with_people_in_it_counts_as_no_class_more():
    classes = [possible("A", (10,)), possible("B", (11,), is_held=True, instructors=["bo"])]

    made = plan([trainee("ada", 20)], classes)

    assert (made.places, figures(made)) == ({"B": ["ada"]}, (0, 0, 9))


@pytest.mark.parametrize("taken", [{"room": "r"}, {"instructors": ["ines"]}])
def test_class_with_people_in_it_has_its_room_and_instructor(taken):
    held = possible("H", scopes=frozenset({"T"}), is_held=True, **{"instructors": ["bo"], **taken})

    made = plan([trainee("ada", 20)], [held, possible("A", room="r")])

    assert figures(made) == (40, 0, 0)


def test_who_is_away_already_counts_against_the_limit_of_that_day():
    classes = [possible("A", (10,)), possible("B", (12,), instructors=["bo"])]
    limits = {"lead_limits": {"tove": 1}, "away_already": {("tove", day(10)): 1}}

    made = plan([trainee("ada", 10, lead="tove")], classes, **limits)

    assert (made.places, figures(made)) == ({"B": ["ada"]}, (1, 1, 0))


def test_examples_in_docstrings_hold():
    results = doctest.testmod(class_plan)

    assert (results.failed, results.attempted) == (0, 9)


def test_nobody_and_nothing_is_a_plan():
    assert figures(plan([], [])) == (0, 0, 0)
    assert figures(plan([trainee()], [])) == (40, 0, 0)


def test_what_is_found_when_time_is_up_has_bounds():
    trainees, classes, limits = at_random(7)

    made = plan_classes(trainees, classes, limits, THROUGH, time_limit_s=0.0)

    for objective in (made.lapsed_days, made.classes_held, made.days_given_away):
        assert 0 <= objective.bound <= objective.value


@pytest.mark.parametrize(
    ("trainees", "classes", "message"),
    [
        ([trainee(), trainee()], [], "trainee is named twice"),
        ([], [possible(), possible()], "class is named twice"),
        ([], [possible(days=())], "no day"),
    ],
    ids=["trainee twice", "class twice", "no day"],
)
def test_what_is_no_plan_at_all_is_refused(trainees, classes, message):
    with pytest.raises(ValueError, match=message):
        plan(trainees, classes)
