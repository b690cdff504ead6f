"""A plan of classes: who goes into which, so that as little as possible lapses.

A mixed-integer linear programme, solved by HiGHS through `scipy.optimize.milp`. Three things are
made small, each as far as it goes without making an earlier one larger: the days on which
certificates have lapsed, the classes held, and the days of validity given away.

scipy.optimize takes a second to import, and only whoever works a plan out needs it: what calls it
imports it for itself.
"""

import itertools
import math
import time
from collections import defaultdict
from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any

import numpy as np

TIME_LIMIT_S = 45.0
SHARES = (2 / 3, 1 / 2, 1)
"""How much of the time that is left each of the three may take."""

OPTIMAL = 0
"""The status by which `milp` says that nothing better exists."""

_RELAXED, _AS_TAUGHT, _ALL = "relaxed", "as taught", "all"


@dataclass(frozen=True)
class Need:
    """One certificate of one person that a class renews.

    Parameters
    ----------
    ends_on : date
        Its last good day.
    window_days : int
        A class that ends so many days before it, or fewer, gives no validity away.
    """

    scope: str
    ends_on: date
    window_days: int = 0


@dataclass(frozen=True)
class Trainee:
    """Somebody with certificates that end.

    Parameters
    ----------
    needs : sequence of Need
        Each scope once.
    away : frozenset of date
        Days on which they cannot come.
    fixed : mapping
        What somebody decided, by scope: the key of the class that renews it, or None for no class.
    """

    key: Hashable
    needs: Sequence[Need]
    lead: Hashable = None
    away: frozenset[date] = frozenset()
    fixed: Mapping[str, Hashable] = field(default_factory=dict)


@dataclass(frozen=True)
class PossibleClass:
    """A class that could be held: its days in order, its places, and what it renews.

    ``instructors`` are those who may teach it; one of them has to. Of classes in one ``room`` no
    two are held on one day. One that ``is_held`` whatever the plan, since people are in it already,
    counts as no class more, and takes its room and its first instructor from the others.
    """

    key: Hashable
    days: Sequence[date]
    places: int
    scopes: frozenset[str]
    instructors: Sequence[Hashable]
    room: Hashable = None
    is_held: bool = False


@dataclass(frozen=True)
class Limits:
    """What else a plan keeps to.

    Parameters
    ----------
    lead_limits : mapping
        How many of a line lead's people may be away for classes on one day, by the lead.
    instructors_away : mapping
        Days on which an instructor cannot teach, by the instructor.
    away_already : mapping
        How many of a lead's people are away without the plan, by lead and day.
    """

    lead_limits: Mapping[Hashable, int] = field(default_factory=dict)
    instructors_away: Mapping[Hashable, frozenset[date]] = field(default_factory=dict)
    away_already: Mapping[tuple[Hashable, date], int] = field(default_factory=dict)

    def left(self, lead: Hashable, day: date) -> int | None:
        """How many more of a lead's people may be away on a day; None where nobody limits it."""
        if lead not in self.lead_limits:
            return None
        return max(0, self.lead_limits[lead] - self.away_already.get((lead, day), 0))


class CannotBeKept(ValueError):
    """What is fixed cannot be kept together: places, days, rooms or limits do not allow it."""


class Why(StrEnum):
    """Why a need is not met: of nobody's making, or because something ran out."""

    NO_CLASS = "no class renews it"
    AWAY = "away on the days of every class that renews it"
    NO_INSTRUCTOR = "no instructor for any class they could come to"
    FULL = "every class they could come to is full"
    NOT_HELD = "a class they could come to is not held: its room or instructors are taken"
    LEAD_LIMIT = "too many of the line lead's people would be away"
    OTHER_CLASS = "in another class on the same days"
    LEFT_OUT = "somebody decided on no class"


@dataclass(frozen=True)
class Unmet:
    trainee: Hashable
    scope: str
    lapsed_days: int
    why: Why


@dataclass(frozen=True)
class Objective:
    """What one of the three came to, and the least it can be; equal where it is proven."""

    value: int
    bound: int

    @property
    def gap(self) -> int:
        return self.value - self.bound


@dataclass(frozen=True)
class Plan:
    """Who is in which class and who teaches it, with the three objectives.

    ``renewed`` is the class that renews something, by trainee and scope. A bound of the second and
    third holds for plans with no more of the earlier ones than this has.
    """

    places: Mapping[Hashable, Sequence[Hashable]]
    instructors: Mapping[Hashable, Hashable]
    lapsed_days: Objective
    classes_held: Objective
    days_given_away: Objective
    unmet: Sequence[Unmet]
    renewed: Mapping[tuple[Hashable, str], Hashable] = field(default_factory=dict)


def lapsed_if_met(need: Need, possible: PossibleClass, through: date) -> int:
    """Days between the last good day and the last day of the class, on which a new one begins."""
    return max(0, (min(possible.days[-1], through) - need.ends_on).days - 1)


def lapsed_if_unmet(need: Need, through: date) -> int:
    return max(0, (through - need.ends_on).days)


def given_away(need: Need, possible: PossibleClass) -> int:
    """Days of the old certificate that the new one replaces; none within the window."""
    early = (need.ends_on - possible.days[-1]).days
    return early if early > need.window_days else 0


def figures_of(
    chosen: Iterable[tuple[Need, PossibleClass | None]], through: date
) -> tuple[int, int, int]:
    """The three objectives of a choice made by hand: of each need the class that renews it.

    Examples
    --------
    >>> need = Need("S", date(2026, 12, 3))
    >>> late = PossibleClass("A", [date(2026, 12, 15)], 4, frozenset({"S"}), ["ines"])
    >>> figures_of([(need, late)], date(2027, 4, 30))
    (11, 1, 0)
    """
    lapsed = given = 0
    held = set()
    for need, possible in chosen:
        if possible is None:
            lapsed += lapsed_if_unmet(need, through)
            continue
        lapsed += lapsed_if_met(need, possible, through)
        given += given_away(need, possible)
        if not possible.is_held:
            held.add(possible.key)
    return lapsed, len(held), given


def plan_classes(
    trainees: Sequence[Trainee],
    possible: Sequence[PossibleClass],
    limits: Limits,
    through: date,
    time_limit_s: float = TIME_LIMIT_S,
) -> Plan:
    """Choose classes to hold and put people in them.

    Parameters
    ----------
    trainees : sequence of Trainee
        Each key once.
    possible : sequence of PossibleClass
        Each key once, each with at least one day and its days in order.
    through : date
        The last day counted; a class that ends later is not looked at.
    time_limit_s : float
        For all three objectives together; what is found by then is returned with its bounds. The
        solver looks at the clock between its steps, so it may take some seconds more.

    Returns
    -------
    Plan

    Raises
    ------
    ValueError
        If a key occurs twice or a class has no day.
    CannotBeKept
        If no plan keeps what is fixed.
    """
    _check(trainees, possible)
    programme = _Programme(trainees, possible, limits, through)
    deadline = time.monotonic() + time_limit_s
    best, objectives = programme.first(time_limit_s), []
    for costs, share in zip(
        (programme.lapsed, programme.held, programme.away), SHARES, strict=True
    ):
        left_s = max(deadline - time.monotonic(), 0.1)
        best, objective = programme.lessen(costs, best, left_s * share)
        objectives.append(objective)
    best = programme.fewest_places(best)
    places = programme.places_in(best)
    lapsed, held, given = objectives
    # Where time was up, a class may be held for nobody.
    taken = sum(each.key in places for each in possible if not each.is_held)
    held = Objective(min(held.value, taken), min(held.bound, taken))
    return Plan(
        places=places,
        instructors=programme.instructors_in(best, places),
        lapsed_days=lapsed,
        classes_held=held,
        days_given_away=given,
        unmet=programme.unmet_in(best, places),
        renewed=programme.renewed_in(best),
    )


@dataclass(frozen=True)
class Clash:
    """A class that cannot be held beside others, on a day.

    ``other`` is what has its room then; without one, nobody is left to teach it.
    """

    key: Hashable
    day: date
    other: Hashable = None


def clash_among(
    possible: Sequence[PossibleClass], used: Collection[Hashable], limits: Limits
) -> Clash | None:
    """What of a plan's rule about rooms and instructors these classes break; None where they keep
    it.

    Parameters
    ----------
    possible : sequence of PossibleClass
        All of the plan; those held whatever it says take their room and first instructor first.
    used : collection
        The keys of those that somebody is to go to.

    Examples
    --------
    >>> day = [date(2026, 3, 2)]
    >>> one = PossibleClass(1, day, 6, frozenset(), ["Mia"], room="A")
    >>> other = PossibleClass(2, day, 6, frozenset(), ["Mia", "Tom"], room="B")
    >>> clash_among([one, other], [1, 2], Limits()) is None
    True
    >>> clash_among([one, PossibleClass(3, day, 6, frozenset(), ["Mia"])], [1, 3], Limits()).other
    >>> clash_among([one, PossibleClass(4, day, 6, frozenset(), ["Tom"], "A")], [1, 4], Limits())
    Clash(key=4, day=datetime.date(2026, 3, 2), other=1)
    """
    held = [each for each in possible if each.is_held]
    added = [each for each in possible if each.key in used and not each.is_held]
    in_room = {(each.room, day): each.key for each in held if each.room for day in each.days}
    for each in added:
        for day in each.days if each.room is not None else ():
            if (other := in_room.setdefault((each.room, day), each.key)) != each.key:
                return Clash(each.key, day, other)
    teachers = teachers_of(possible, limits)
    free = {each.key: teachers[number] for number, each in enumerate(possible)}
    untaught = _untaught(added, free)
    return None if untaught is None else Clash(untaught.key, untaught.days[0])


def _untaught(
    added: Sequence[PossibleClass], free: Mapping[Hashable, Sequence[Hashable]]
) -> PossibleClass | None:
    """A class that nobody is left for once as many as can be have somebody; None if all have."""
    without = next((each for each in added if not free[each.key]), None)
    if without is not None or _taught_one_by_one(added, free):
        return without
    from scipy.optimize import Bounds, LinearConstraint, milp

    pairs = [(n, one) for n, each in enumerate(added) for one in free[each.key]]
    rows: dict[Any, list[int]] = defaultdict(list)
    for variable, (n, one) in enumerate(pairs):
        rows["class", n].append(variable)
        for day in added[n].days:
            rows[one, day].append(variable)
    matrix = np.zeros((len(rows), len(pairs)))
    for row, variables in enumerate(rows.values()):
        matrix[row, variables] = 1
    found = milp(
        -np.ones(len(pairs)),
        integrality=np.ones(len(pairs)),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix, -np.inf, 1),
        options={"time_limit": TIME_LIMIT_S},
    )
    taught = {n for (n, _one), value in zip(pairs, found.x, strict=True) if value > 0.5}
    return next((each for n, each in enumerate(added) if n not in taught), None)


def _taught_one_by_one(
    added: Sequence[PossibleClass], free: Mapping[Hashable, Sequence[Hashable]]
) -> bool:
    """Whether each class has somebody where those with the least choice take the first who is
    free: nearly always, and quick."""
    busy: set[tuple[Hashable, date]] = set()
    for each in sorted(added, key=lambda each: len(free[each.key])):
        days = [{(one, day) for day in each.days} for one in free[each.key]]
        taken = next((on for on in days if busy.isdisjoint(on)), None)
        if taken is None:
            return False
        busy |= taken
    return True


def teachers_of(possible: Sequence[PossibleClass], limits: Limits) -> list[list[Hashable]]:
    """Who could teach each class beside those that are held whatever the plan."""
    teaching = {
        (one, day)
        for each in possible
        if each.is_held
        for one in each.instructors[:1]
        for day in each.days
    }
    return [
        [
            one
            for one in dict.fromkeys(each.instructors)
            if not limits.instructors_away.get(one, frozenset()).intersection(each.days)
            and (each.is_held or teaching.isdisjoint((one, day) for day in each.days))
        ]
        for each in possible
    ]


def _check(trainees: Sequence[Trainee], possible: Sequence[PossibleClass]) -> None:
    for named, what in ((trainees, "trainee"), (possible, "class")):
        if len({one.key for one in named}) < len(named):
            raise ValueError(f"A {what} is named twice.")
    if not all(one.days for one in possible):
        raise ValueError("A class has no day.")


def _subsets(classes: Sequence[int], fixed: set[int]) -> Iterable[tuple[int, ...]]:
    """Some of these but not all, the fewest first, each with everything that is fixed."""
    for size in range(1, len(classes)):
        for kept in itertools.combinations(classes, size):
            if fixed <= set(kept):
                yield kept


class _Costs:
    """A linear function of the variables with a constant."""

    def __init__(self, size: int) -> None:
        self.of = np.zeros(size)
        self.constant = 0

    def at(self, solution: np.ndarray) -> int:
        return round(float(self.of @ solution)) + self.constant


def _whole_bound(result: Any, costs: _Costs, value: int) -> int:
    """What no plan goes below, as far as a solution says; values are whole, so it is rounded up."""
    least = result.fun if result.status == OPTIMAL else result.mip_dual_bound
    if least is None or not np.isfinite(least):
        return 0
    return min(value, max(0, math.ceil(least + costs.constant - 1e-5)))


class _Programme:
    """Variables and constraints, in the order: places, uses, held, taught.

    A *place* is a trainee in a class they could come to; a *use* is a need that such a place
    renews; *held* is a class; *taught* is a class with one of its instructors. All are 0 or 1.
    """

    def __init__(
        self,
        trainees: Sequence[Trainee],
        possible: Sequence[PossibleClass],
        limits: Limits,
        through: date,
    ) -> None:
        self.trainees, self.classes, self.limits, self.through = trainees, possible, limits, through
        self.numbers = {each.key: number for number, each in enumerate(possible)}
        held = [each for each in possible if each.is_held]
        self.rooms_taken = {(each.room, day) for each in held if each.room for day in each.days}
        self.teachers = teachers_of(possible, limits)
        self.places: dict[tuple[int, int], int] = {}
        self.uses: dict[tuple[int, int, int], int] = {}
        self._name_places()
        self.size = len(self.places)
        renewed: dict[tuple[int, int], list[int]] = defaultdict(list)
        for t, n, c in self._renewals():
            renewed[t, c].append(n)
        for (t, c), needs in renewed.items():
            for n in needs:
                # A place that renews one thing alone is taken for its sake, so it is the use.
                alone = len(needs) == 1
                self.uses[t, n, c] = self.places[t, c] if alone else self.size
                self.size += not alone
        self.holds = {c: self.size + c for c in range(len(possible))}
        self.size += len(possible)
        self.taught: dict[tuple[int, int], int] = {}
        for c, teachers in enumerate(self.teachers):
            for i in range(len(teachers)):
                self.taught[c, i] = self.size
                self.size += 1
        self._rows: list[tuple[dict[int, float], float, float]] = []
        self._constrain()
        self.lapsed, self.held, self.away = self._costs()

    def _could_come(self, trainee: Trainee, c: int) -> bool:
        each = self.classes[c]
        return each.days[-1] <= self.through and trainee.away.isdisjoint(each.days)

    def _name_places(self) -> None:
        for t, trainee in enumerate(self.trainees):
            wanted = {need.scope for need in trainee.needs}
            for c, each in enumerate(self.classes):
                if wanted & each.scopes and self.teachers[c] and self._could_come(trainee, c):
                    self.places[t, c] = len(self.places)

    def _renewals(self) -> Iterable[tuple[int, int, int]]:
        for t, c in self.places:
            for n, need in enumerate(self.trainees[t].needs):
                if need.scope in self.classes[c].scopes:
                    yield t, n, c

    def _at_most(self, variables: Iterable[int], most: float) -> None:
        self._rows.append((dict.fromkeys(variables, 1.0), -np.inf, most))

    def _constrain(self) -> None:
        in_class, of_need = defaultdict(list), defaultdict(list)
        on_day, of_lead = defaultdict(list), defaultdict(list)
        for (t, c), place in self.places.items():
            in_class[c].append(place)
            self._rows.append(({place: 1.0, self.holds[c]: -1.0}, -np.inf, 0))
            for day in self.classes[c].days:
                on_day[t, day].append(place)
                of_lead[self.trainees[t].lead, day].append(place)
        for (t, n, c), use in self.uses.items():
            of_need[t, n].append(use)
            if use == self.places[t, c]:
                continue
            self._rows.append(({use: 1.0, self.places[t, c]: -1.0}, -np.inf, 0))
        for c, places in in_class.items():
            full = dict.fromkeys(places, 1.0) | {self.holds[c]: -float(self.classes[c].places)}
            self._rows.append((full, -np.inf, 0))
        for uses in of_need.values():
            self._at_most(uses, 1)
        for places in on_day.values():
            if len(places) > 1:
                self._at_most(places, 1)
        for (lead, day), places in of_lead.items():
            most = self.limits.left(lead, day)
            if most is not None and len(places) > most:
                self._at_most(places, most)
        self._constrain_teaching()
        self._keep_fixed(of_need)

    def _keep_fixed(self, of_need: Mapping[tuple[int, int], Sequence[int]]) -> None:
        self.is_fixed = False
        for t, trainee in enumerate(self.trainees):
            for n, need in enumerate(trainee.needs):
                if need.scope not in trainee.fixed:
                    continue
                kept = trainee.fixed[need.scope]
                if kept is None:
                    if uses := of_need.get((t, n)):
                        self._at_most(uses, 0)
                    continue
                use = self.uses.get((t, n, self.numbers.get(kept, -1)))
                if use is None:
                    raise CannotBeKept(f"{trainee.key} cannot be in {kept} for {need.scope}.")
                self._rows.append(({use: 1.0}, 1, 1))
                self.is_fixed = True

    def _constrain_teaching(self) -> None:
        in_room, of_teacher = defaultdict(list), defaultdict(list)
        for c, each in enumerate(self.classes):
            taught = [self.taught[c, i] for i in range(len(self.teachers[c]))]
            row = dict.fromkeys(taught, 1.0) | {self.holds[c]: -1.0}
            self._rows.append((row, 0, 0))
            if each.is_held:
                continue
            if any((each.room, day) in self.rooms_taken for day in each.days):
                self._at_most([self.holds[c]], 0)
            for day in each.days:
                if each.room is not None:
                    in_room[each.room, day].append(self.holds[c])
                for teacher, variable in zip(self.teachers[c], taught, strict=True):
                    of_teacher[teacher, day].append(variable)
        for variables in (*in_room.values(), *of_teacher.values()):
            if len(variables) > 1:
                self._at_most(variables, 1)

    def _costs(self) -> tuple[_Costs, _Costs, _Costs]:
        lapsed, held, away = (_Costs(self.size) for _each in range(3))
        for trainee in self.trainees:
            lapsed.constant += sum(lapsed_if_unmet(need, self.through) for need in trainee.needs)
        for (t, n, c), use in self.uses.items():
            need, each = self.trainees[t].needs[n], self.classes[c]
            met = lapsed_if_met(need, each, self.through)
            lapsed.of[use] = met - lapsed_if_unmet(need, self.through)
            away.of[use] = given_away(need, each)
        held.of[[self.holds[c] for c, each in enumerate(self.classes) if not each.is_held]] = 1
        return lapsed, held, away

    def first(self, time_limit_s: float) -> np.ndarray:
        """The plan with what is fixed and no more: where nothing is, no class is held."""
        if not self.is_fixed:
            return np.zeros(self.size)
        found = self._milp(
            np.ones(self.size), np.zeros(self.size), np.ones(self.size), time_limit_s
        )
        if found.x is None:
            raise CannotBeKept("What is fixed cannot be kept together.")
        return np.round(found.x)

    def lessen(
        self, costs: _Costs, best: np.ndarray, time_limit_s: float
    ) -> tuple[np.ndarray, Objective]:
        """Make one thing small, and have it stay so for what comes after.

        The relaxed programme, in which half a place can be taken, gives a bound at once; then the
        plan is bettered with the classes and instructors that it has, then with all.
        """
        deadline = time.monotonic() + time_limit_s
        value, bound = costs.at(best), 0
        if not costs.of.any():
            bound = value
        for step in (_RELAXED, _AS_TAUGHT, _ALL):
            left_s = deadline - time.monotonic()
            if bound == value or left_s <= 0:
                break
            if step == _AS_TAUGHT and not best.any():
                continue
            result = self._solve(costs, best, step, left_s)
            if step != _RELAXED and result.x is not None:
                found = np.round(result.x)
                if costs.at(found) <= value:
                    best, value = found, costs.at(found)
            if step != _AS_TAUGHT:
                bound = max(bound, _whole_bound(result, costs, value))
        bound = min(bound, value)
        row = {int(at): float(costs.of[at]) for at in np.flatnonzero(costs.of)}
        self._rows.append((row, -np.inf, value - costs.constant))
        return best, Objective(value, bound)

    def _solve(self, costs: _Costs, best: np.ndarray, step: str, time_limit_s: float) -> Any:
        low, high = np.zeros(self.size), np.ones(self.size)
        if step == _AS_TAUGHT:
            kept = [*self.holds.values(), *self.taught.values()]
            low[kept] = high[kept] = best[kept]
        return self._milp(costs.of, low, high, time_limit_s, whole=step != _RELAXED)

    def _milp(
        self,
        costs: np.ndarray,
        low: np.ndarray,
        high: np.ndarray,
        time_limit_s: float,
        *,
        whole: bool = True,
    ) -> Any:
        from scipy.optimize import Bounds, milp

        return milp(
            costs,
            integrality=np.full(self.size, whole, dtype=int),
            bounds=Bounds(low, high),
            constraints=self._matrix(),
            options={"time_limit": time_limit_s, "mip_rel_gap": 0},
        )

    def _matrix(self) -> Any:
        from scipy import sparse
        from scipy.optimize import LinearConstraint

        entries = [
            (number, column, factor)
            for number, (row, _low, _high) in enumerate(self._rows)
            for column, factor in row.items()
        ]
        rows, columns, factors = zip(*entries, strict=True)
        shape = (len(self._rows), self.size)
        return LinearConstraint(
            sparse.csr_array((factors, (rows, columns)), shape=shape),
            [low for _row, low, _high in self._rows],
            [high for _row, _low, high in self._rows],
        )

    # Reading a solution

    def _used(self, solution: np.ndarray) -> set[tuple[int, int]]:
        """Trainees in classes that renew something of theirs."""
        return {(t, c) for (t, _n, c), use in self.uses.items() if solution[use] > 0.5}

    def fewest_places(self, solution: np.ndarray) -> np.ndarray:
        """The same plan without a class for somebody whose others renew all at the same cost.

        The three objectives do not count how often one person is away.
        """
        found = solution.copy()
        own: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for (t, n, c), use in self.uses.items():
            if solution[use] > 0.5:
                own[t].append((n, c))
        for t, pairs in own.items():
            classes = sorted({c for _n, c in pairs})
            if len(classes) < 2:
                continue
            least = [self._cost(t, n, c) for n, c in pairs]
            fixed = [
                c for n, c in pairs if self.trainees[t].needs[n].scope in self.trainees[t].fixed
            ]
            for kept in _subsets(classes, set(fixed)):
                moved = [
                    (n, to) for n, c in pairs if (to := self._best_use(t, n, c, kept)) is not None
                ]
                if [self._cost(t, n, c) for n, c in moved] == least:
                    self._go_to(found, t, moved)
                    break
        return found

    def _cost(self, t: int, n: int, c: int) -> tuple[int, int]:
        need, each = self.trainees[t].needs[n], self.classes[c]
        return lapsed_if_met(need, each, self.through), given_away(need, each)

    def _best_use(self, t: int, n: int, c: int, kept: Sequence[int]) -> int | None:
        """Where a need goes of the classes that are kept: where it was, or at the least cost."""
        if c in kept:
            return c
        usable = [one for one in kept if (t, n, one) in self.uses]
        return min(usable, key=lambda one: self._cost(t, n, one), default=None)

    def _go_to(self, solution: np.ndarray, t: int, pairs: Sequence[tuple[int, int]]) -> None:
        for n, c in itertools.product(range(len(self.trainees[t].needs)), range(len(self.classes))):
            if (t, n, c) in self.uses:
                solution[self.uses[t, n, c]] = solution[self.places[t, c]] = 0
        for n, c in pairs:
            solution[self.uses[t, n, c]] = solution[self.places[t, c]] = 1

    def places_in(self, solution: np.ndarray) -> dict[Hashable, list[Hashable]]:
        """Who is in each class that somebody is in."""
        people: dict[Hashable, list[Hashable]] = {}
        for t, c in sorted(self._used(solution), key=lambda pair: (pair[1], pair[0])):
            people.setdefault(self.classes[c].key, []).append(self.trainees[t].key)
        return people

    def instructors_in(
        self, solution: np.ndarray, places: Mapping[Hashable, Sequence[Hashable]]
    ) -> dict[Hashable, Hashable]:
        return {
            self.classes[c].key: self.teachers[c][i]
            for (c, i), variable in self.taught.items()
            if solution[variable] > 0.5 and self.classes[c].key in places
        }

    def renewed_in(self, solution: np.ndarray) -> dict[tuple[Hashable, str], Hashable]:
        return {
            (self.trainees[t].key, self.trainees[t].needs[n].scope): self.classes[c].key
            for (t, n, c), use in self.uses.items()
            if solution[use] > 0.5
        }

    def unmet_in(
        self, solution: np.ndarray, places: Mapping[Hashable, Sequence[Hashable]]
    ) -> list[Unmet]:
        """Needs that lapse and that nothing renews, those that lapse longest first."""
        met = {(t, n) for (t, n, _c), use in self.uses.items() if solution[use] > 0.5}
        used = self._used(solution)
        found = [
            Unmet(trainee.key, need.scope, lapsed, self._why(t, need, used, places))
            for t, trainee in enumerate(self.trainees)
            for n, need in enumerate(trainee.needs)
            if (t, n) not in met and (lapsed := lapsed_if_unmet(need, self.through))
        ]
        return sorted(found, key=lambda one: -one.lapsed_days)

    def _why(
        self,
        t: int,
        need: Need,
        used: set[tuple[int, int]],
        places: Mapping[Hashable, Sequence[Hashable]],
    ) -> Why:
        trainee = self.trainees[t]
        if need.scope in trainee.fixed:
            return Why.LEFT_OUT
        renewing = [
            c
            for c, each in enumerate(self.classes)
            if need.scope in each.scopes and each.days[-1] <= self.through
        ]
        if not renewing:
            return Why.NO_CLASS
        could = [c for c in renewing if self._could_come(trainee, c)]
        if not could:
            return Why.AWAY
        taught = [c for c in could if self.teachers[c]]
        if not taught:
            return Why.NO_INSTRUCTOR
        held = [c for c in taught if self.classes[c].key in places]
        if not held:
            return Why.NOT_HELD
        own_days = {day for u, c in used if u == t for day in self.classes[c].days}
        with_places = [c for c in held if len(places[self.classes[c].key]) < self.classes[c].places]
        if not with_places:
            return Why.FULL
        if all(own_days.intersection(self.classes[c].days) for c in with_places):
            return Why.OTHER_CLASS
        return Why.LEAD_LIMIT
