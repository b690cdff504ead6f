"""What a plan of classes rests on: read from the database, kept with the plan, and compared.

The domain knows scopes and no sites. Where people stay at their own, a scope stands there with
its site, so that no class elsewhere renews it.
"""

from collections import defaultdict
from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from certification.domain.answers import Standing
from certification.domain.class_plan import Limits, Need, PossibleClass, Trainee
from certification.models import PlannedNeed, StandingEnd, StandingSpan
from people.models import Person, Return, Role, Site, SiteRole, User
from people.models.people import at_work_on
from people.queries.site_days import Days, days_now
from training.models import ClassSession, Enrolment, Position, SessionDay
from training.queries.absences import away_on, led_by, limits_of
from training.queries.classes import class_days, scopes_taught
from training.queries.completed import lacking

from .teachers import not_entitled


class Away(StrEnum):
    """Why somebody cannot come on a day."""

    AWAY = "away"
    IN_CLASS = "in class"
    NOT_AT_WORK = "not at work"


@dataclass(frozen=True)
class PlannedClass:
    """A class to come as a plan sees it; ``places`` are those free, ``instructors`` who may teach.

    ``is_held`` is whether people are in it already.
    """

    pk: int
    number: str
    site: int
    days: tuple[date, ...]
    places: int
    scopes: frozenset[str]
    instructors: tuple[int, ...]
    room: int | None
    is_held: bool

    def __post_init__(self) -> None:
        assert self.days  # noqa: S101 - a class without days is not read


@dataclass(frozen=True)
class Right:
    """Rights of somebody that end on one day and that the same classes renew."""

    person: int
    scopes: tuple[str, ...]
    ends_on: date
    window_days: int
    classes: tuple[int, ...]


@dataclass(frozen=True)
class ClassPlanFacts:
    """All of it; people, classes and leads by their keys.

    Attributes
    ----------
    away : mapping of int to mapping of date to Away
        Of the days of these classes those on which somebody cannot come.
    away_already : mapping of (int, date) to int
        How many of a lead's people are away without the plan.
    placed : tuple of (int, int, tuple of str)
        Who is in which class already, and the scopes that it renews of theirs in this period.
    lacking : mapping of int to frozenset of int
        By class who has not completed a course that comes first; read anew and not kept with a
        plan, whose rows name no such class.
    beside : tuple of PlannedClass
        Classes with people in them that renew nothing here, on those days on which they have the
        room of one that does. A plan that was kept before these were has none.
    """

    rights: tuple[Right, ...]
    classes: tuple[PlannedClass, ...]
    away: Mapping[int, Mapping[date, Away]] = field(default_factory=dict)
    leads: Mapping[int, int] = field(default_factory=dict)
    limits: Mapping[int, int] = field(default_factory=dict)
    away_already: Mapping[tuple[int, date], int] = field(default_factory=dict)
    placed: tuple[tuple[int, int, tuple[str, ...]], ...] = ()
    lacking: Mapping[int, frozenset[int]] = field(default_factory=dict)
    beside: tuple[PlannedClass, ...] = ()

    @property
    def every_class(self) -> tuple[PlannedClass, ...]:
        """Those that renew something, and those beside them."""
        return (*self.classes, *self.beside)

    @property
    def by_pk(self) -> dict[int, PlannedClass]:
        return {one.pk: one for one in self.classes}

    def why_away(self, person: int, days: Iterable[date]) -> Away | None:
        """Why somebody cannot come to a class on these days; None where they can."""
        away = self.away.get(person, {})
        return next((away[day] for day in days if day in away), None)

    def can_go(self, right: Right | PlannedNeed, planned: PlannedClass) -> bool:
        person = right.person if isinstance(right, Right) else right.person_id
        return (
            planned.pk in right.classes
            and bool(planned.instructors)
            and self.why_away(person, planned.days) is None
        )


# Read from the database


def read_facts(
    *, sites: Collection[Site], first_day: date, through: date, travel: bool, now: datetime
) -> ClassPlanFacts:
    """Everything that a plan for these sites rests on at an instant, in few queries."""
    days = days_now(now, min(site.today(now) for site in sites), {site.pk for site in sites})
    ends = _ends(sites, days, first_day, through)
    classes = _classes(sites, through, now)
    behind = _lacking(ends, classes)
    enrolments = _enrolments({end.span.person_id for end in ends}, days.first)
    ends, placed = _without_placed(ends, enrolments, through)
    rights = _rights(ends, classes, behind, travel=travel)
    wanted = {pk for right in rights for pk in right.classes}
    classes = [one for one in classes if one.pk in wanted]
    all_days = {day for one in classes for day in one.days}
    people = {right.person for right in rights}
    lead_of = {end.span.person_id: end.span.person.line_lead_id for end in ends}
    limits = limits_of(lead for lead in lead_of.values() if lead is not None)
    return ClassPlanFacts(
        rights=tuple(rights),
        classes=tuple(classes),
        away=_away(people, all_days),
        leads={
            person: lead for person, lead in lead_of.items() if lead is not None and lead in limits
        },
        limits=limits,
        away_already=_away_already(limits, all_days),
        placed=tuple(sorted(placed)),
        lacking=behind,
        beside=_beside(classes, all_days),
    )


def _ends(sites: Collection[Site], days: Days, first_day: date, through: date) -> list[StandingEnd]:
    """Certificates that end in the period, of people at work there who are certified today."""
    people = Person.objects.filter(days.each(at_work_on, "site"), site__in=sites)
    spans = StandingSpan.objects.on_days(days).filter(
        standing=Standing.CERTIFIED, person__in=people.order_by().values("pk")
    )
    return list(
        StandingEnd.objects.filter(
            kind=StandingEnd.Kind.CERTIFICATE,
            last_day__gte=first_day,
            last_day__lte=through,
            span__in=spans.order_by().values("pk"),
        )
        .select_related("span__person", "span__scope", "span__certificate__scheme_revision")
        .order_by("last_day", "span__person__full_name", "span__person", "span__scope__code")
    )


def _classes(sites: Collection[Site], through: date, now: datetime) -> list[PlannedClass]:
    """Classes that begin after today and end within the period."""
    today = {site.pk: site.today(now) for site in sites}
    sessions = [
        session
        for session in ClassSession.objects.standing()
        .filter(site__in=sites, ends_on__lte=through, starts_on__gt=min(today.values()))
        .select_related("instructor__person", "course_revision")
        .prefetch_related("days", "other_instructors__instructor__person", "enrolments")
        .order_by("starts_on", "number")
        if session.starts_on > today[session.site_id] and session.days.all()
    ]
    renewed = scopes_renewed(sessions)
    joint_types = _joint_types({session.course_revision_id for session in sessions})
    teaching = set(
        SiteRole.objects.filter(site__in=sites, role=Role.INSTRUCTOR).values_list("user", "site")
    )
    return [
        PlannedClass(
            pk=session.pk,
            number=session.number,
            site=session.site_id,
            days=tuple(class_days(session)),
            places=max(0, session.places - len(session.enrolments.all())),
            scopes=frozenset(renewed[session.pk]),
            instructors=_instructors(
                session, joint_types.get(session.course_revision_id, set()), teaching
            ),
            room=session.held_in_id,
            is_held=bool(session.enrolments.all()),
        )
        for session in sessions
    ]


def _beside(classes: Collection[PlannedClass], days: Collection[date]) -> tuple[PlannedClass, ...]:
    """What else is held in the rooms of these classes on some days, whoever it is for."""
    rooms = {one.room for one in classes if one.room is not None}
    others = (
        ClassSession.objects.standing()
        .filter(held_in__in=rooms, days__day__in=days, enrolments__isnull=False)
        .exclude(pk__in=[one.pk for one in classes])
        .distinct()
        .order_by("number")
        .prefetch_related("days")
    )
    return tuple(
        PlannedClass(
            pk=other.pk,
            number=other.number,
            site=other.site_id,
            days=tuple(day for day in class_days(other) if day in days),
            places=0,
            scopes=frozenset(),
            instructors=(),
            room=other.held_in_id,
            is_held=True,
        )
        for other in others
    )


def scopes_renewed(sessions: Collection[ClassSession]) -> dict[int, set[str]]:
    """The codes of the scopes that each class renews, by its key.

    They are those that its course says it leads to; where it says nothing, those that its
    exercises are credited to.
    """
    taught = scopes_taught({session.course_revision_id for session in sessions})
    return {
        session.pk: set(session.course_revision.scope_codes)
        or taught.get(session.course_revision_id, set())
        for session in sessions
    }


def _joint_types(revision_ids: Collection[int]) -> dict[int, set[str]]:
    """The joint types of the exercises of each revision of a course."""
    found: dict[int, set[str]] = defaultdict(set)
    rows = Position.objects.filter(exercise__lessons__course_revision__in=revision_ids)
    for revision_id, joint_type in (
        rows.order_by().values_list("exercise__lessons__course_revision", "joint_type").distinct()
    ):
        found[revision_id].add(joint_type)
    return found


def _instructors(
    session: ClassSession, joint_types: set[str], teaching: set[tuple[int, int]]
) -> tuple[int, ...]:
    """Who of those who teach a class is an instructor there, at work, there and certified."""
    days = class_days(session)
    teachers: dict[int, User] = {
        user.person_id: user
        for user in session.teachers()
        if user.person_id is not None
        and user.person is not None
        and user.is_active
        and (user.pk, session.site_id) in teaching
        and (user.person.left_on is None or user.person.left_on >= days[-1])
    }
    missing = not_entitled(set(teachers), joint_types, days) if teachers else {}
    away = away_on(teachers, days) if teachers else {}
    return tuple(
        user.pk
        for person_id, user in teachers.items()
        if person_id not in missing and person_id not in away
    )


def _enrolments(person_ids: Collection[int], day: date) -> list[Enrolment]:
    return list(
        Enrolment.objects.filter(
            person__in=person_ids, session__cancelled_at__isnull=True, session__ends_on__gte=day
        )
        .select_related("session__course_revision")
        .order_by("session__ends_on", "pk")
    )


def _without_placed(
    ends: Sequence[StandingEnd], enrolments: Sequence[Enrolment], through: date
) -> tuple[list[StandingEnd], list[tuple[int, int, tuple[str, ...]]]]:
    """The ends that no class somebody is in already renews, and who is in which that does."""
    renewed = scopes_renewed([one.session for one in enrolments])
    by_person: dict[int, list[Enrolment]] = defaultdict(list)
    for enrolment in enrolments:
        if enrolment.session.ends_on <= through:
            by_person[enrolment.person_id].append(enrolment)
    left, placed = [], defaultdict(list)
    for end in ends:
        person_id, code = end.span.person_id, end.span.scope.code
        session = next(
            (one.session for one in by_person[person_id] if code in renewed[one.session_id]), None
        )
        if session is None:
            left.append(end)
        else:
            placed[person_id, session.pk].append(code)
    return left, [(*pair, tuple(codes)) for pair, codes in placed.items()]


def _lacking(
    ends: Sequence[StandingEnd], classes: Sequence[PlannedClass]
) -> dict[int, frozenset[int]]:
    """By class whose rights it could renew, but for a course that they complete first."""
    sessions = ClassSession.objects.filter(pk__in=[one.pk for one in classes])
    people = {end.span.person_id for end in ends}
    missing = lacking(list(sessions.select_related("course_revision")), people)
    return {pk: frozenset(of_class) for pk, of_class in missing.items()}


def _rights(
    ends: Sequence[StandingEnd],
    classes: Sequence[PlannedClass],
    behind: Mapping[int, frozenset[int]],
    *,
    travel: bool,
) -> list[Right]:
    """Ends of one person, together where they lie on one day and the same classes renew them."""
    groups: dict[tuple[int, date, int, tuple[int, ...]], list[str]] = defaultdict(list)
    for end in ends:
        person, scope = end.span.person, end.span.scope
        renewing = tuple(
            one.pk
            for one in classes
            if scope.code in one.scopes
            and (travel or one.site == person.site_id)
            and person.pk not in behind.get(one.pk, ())
        )
        groups[person.pk, end.last_day, _window(end), renewing].append(scope.code)
    return [
        Right(person, tuple(codes), ends_on, window, renewing)
        for (person, ends_on, window, renewing), codes in groups.items()
    ]


def _window(end: StandingEnd) -> int:
    """The days of the renewal window; none where the certificate ends before its time."""
    certificate = end.span.certificate
    if certificate is None or end.last_day < certificate.valid_through:
        return 0
    return certificate.scheme_revision.renewal_window_days


def _away(person_ids: Collection[int], days: Collection[date]) -> dict[int, dict[date, Away]]:
    away: dict[int, dict[date, Away]] = defaultdict(dict)
    for person_id, held in _in_class(person_ids, days).items():
        away[person_id] |= dict.fromkeys(held, Away.IN_CLASS)
    for person_id, held in away_on(person_ids, days).items():
        away[person_id] |= dict.fromkeys(held, Away.AWAY)
    for person_id, not_there in _not_at_work(person_ids, days).items():
        away[person_id] |= dict.fromkeys(not_there, Away.NOT_AT_WORK)
    return dict(away)


def _not_at_work(person_ids: Collection[int], days: Collection[date]) -> dict[int, list[date]]:
    """Of these days those before somebody starts, after they leave, and in between for a time.

    As `people.models.people.at_work_on` says of one day, here of many at once.
    """
    gaps: dict[int, list[tuple[date, date]]] = defaultdict(list)
    for person_id, left_on, returned_on in Return.objects.filter(person__in=person_ids).values_list(
        "person", "left_on", "returned_on"
    ):
        gaps[person_id].append((left_on, returned_on))
    rows = Person.objects.filter(pk__in=person_ids).order_by()
    return {
        person_id: held
        for person_id, started_on, left_on in rows.values_list("pk", "started_on", "left_on")
        if (
            held := [
                day
                for day in days
                if (started_on is not None and day < started_on)
                or (left_on is not None and day > left_on)
                or any(gone < day < back for gone, back in gaps[person_id])
            ]
        )
    }


def _in_class(person_ids: Collection[int], days: Collection[date]) -> dict[int, set[date]]:
    """Of these days those on which somebody is in a class already."""
    held: dict[int, set[date]] = defaultdict(set)
    rows = SessionDay.objects.filter(
        day__in=days, session__enrolments__person__in=person_ids, session__cancelled_at__isnull=True
    )
    for person_id, day in rows.order_by().values_list("session__enrolments__person", "day"):
        if person_id in person_ids:
            held[person_id].add(day)
    return held


def _away_already(limits: Mapping[int, int], days: Collection[date]) -> dict[tuple[int, date], int]:
    """How many of each lead's people are away on each day, whether or not a plan names them."""
    led = led_by(limits)
    gone: dict[tuple[int, date], set[int]] = defaultdict(set)
    for away in (away_on(led, days), _in_class(set(led), days)):
        for person_id, held in away.items():
            for day in held:
                gone[led[person_id], day].add(person_id)
    return {pair: len(people) for pair, people in gone.items()}


# Kept with the plan


def as_json(facts: ClassPlanFacts) -> dict[str, Any]:
    """All but the rights, which are rows of their own."""
    return {
        "classes": _classes_as_json(facts.classes),
        "away": {
            str(person): {day.isoformat(): str(why) for day, why in sorted(away.items())}
            for person, away in facts.away.items()
        },
        "leads": {str(person): lead for person, lead in facts.leads.items()},
        "limits": {str(lead): people for lead, people in facts.limits.items()},
        "away_already": [
            [lead, day.isoformat(), people]
            for (lead, day), people in sorted(facts.away_already.items())
        ],
        "placed": [[person, session, list(codes)] for person, session, codes in facts.placed],
        "beside": _classes_as_json(facts.beside),
    }


def _classes_as_json(classes: Iterable[PlannedClass]) -> list[dict[str, Any]]:
    return [
        asdict(one) | {"days": [day.isoformat() for day in one.days], "scopes": sorted(one.scopes)}
        for one in classes
    ]


def from_json(kept: Mapping[str, Any], needs: Iterable[PlannedNeed]) -> ClassPlanFacts:
    """The same as it was read, with the rights of the plan's rows."""
    return ClassPlanFacts(
        rights=tuple(right_of(need) for need in needs),
        classes=_classes_from_json(kept["classes"]),
        away={
            int(person): {date.fromisoformat(day): Away(why) for day, why in away.items()}
            for person, away in kept["away"].items()
        },
        leads={int(person): lead for person, lead in kept["leads"].items()},
        limits={int(lead): people for lead, people in kept["limits"].items()},
        away_already={
            (lead, date.fromisoformat(day)): people for lead, day, people in kept["away_already"]
        },
        placed=tuple((person, session, tuple(codes)) for person, session, codes in kept["placed"]),
        beside=_classes_from_json(kept.get("beside", ())),
    )


def _classes_from_json(kept: Iterable[dict[str, Any]]) -> tuple[PlannedClass, ...]:
    return tuple(
        PlannedClass(
            **one
            | {
                "days": tuple(date.fromisoformat(day) for day in one["days"]),
                "scopes": frozenset(one["scopes"]),
                "instructors": tuple(one["instructors"]),
            }
        )
        for one in kept
    )


def right_of(need: PlannedNeed) -> Right:
    return Right(
        need.person_id,
        tuple(need.scope_codes),
        need.ends_on,
        need.window_days,
        tuple(need.classes),
    )


# As the domain takes it


def scope_key(classes: Sequence[int], code: str) -> str:
    """How the domain knows a scope: with the classes that renew it, since these tell the sites."""
    return f"{code} {'.'.join(map(str, classes))}"


def trainees_of(
    facts: ClassPlanFacts, fixed: Mapping[Right, int | None] | None = None
) -> list[Trainee]:
    """People with what ends for them, and what is fixed of it."""
    by_person: dict[int, list[Right]] = defaultdict(list)
    for right in facts.rights:
        by_person[right.person].append(right)
    fixed = fixed or {}
    return [
        Trainee(
            key=person,
            needs=[
                Need(scope_key(right.classes, code), right.ends_on, right.window_days)
                for right in rights
                for code in right.scopes
            ],
            lead=facts.leads.get(person),
            away=frozenset(facts.away.get(person, {})),
            fixed={
                scope_key(right.classes, code): fixed[right]
                for right in rights
                if right in fixed
                for code in right.scopes
            },
        )
        for person, rights in by_person.items()
    ]


def possible_classes(facts: ClassPlanFacts) -> list[PossibleClass]:
    renewed: dict[int, set[str]] = defaultdict(set)
    for right in facts.rights:
        for pk in right.classes:
            renewed[pk] |= {scope_key(right.classes, code) for code in right.scopes}
    return [
        PossibleClass(
            key=one.pk,
            days=one.days,
            places=one.places,
            scopes=frozenset(renewed[one.pk]),
            instructors=one.instructors,
            room=one.room,
            is_held=one.is_held,
        )
        for one in facts.every_class
    ]


def limits_in(facts: ClassPlanFacts) -> Limits:
    return Limits(
        lead_limits=dict[Hashable, int](facts.limits.items()),
        away_already=dict[tuple[Hashable, date], int](facts.away_already.items()),
    )
