"""Classes to come to somebody who wants a place: first those that serve what they need."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db.models import Q

from people.models import Person
from training import access, ports
from training.models import ClassSession, Lesson, WaitingPlace
from training.queries.classes import class_days, scopes_taught
from training.services.booking import is_open_to, last_day_to_book

MOST_OFFERS = 60


@dataclass(frozen=True)
class Offer:
    """A class to come to one person.

    ``serves`` are the needs that it serves, ``place`` their place on the waiting list (1 is next)
    and None without one; ``until`` is the last day to book and to give back.
    """

    session: ClassSession
    days: Sequence[date]
    free: int
    serves: Sequence[ports.Need]
    booked: bool
    place: int | None
    until: date
    is_open: bool
    in_time: bool

    @property
    def mine(self) -> bool:
        return self.booked or self.place is not None


@dataclass(frozen=True)
class Offers:
    """What somebody is in, what serves a need of theirs, and everything else."""

    needs: Sequence[ports.Need]
    mine: list[Offer] = field(default_factory=list)
    serving: list[Offer] = field(default_factory=list)
    others: list[Offer] = field(default_factory=list)


def offers_for(person: Person, now: datetime) -> Offers:
    """Classes to come that are open to somebody or have them in it, the first first."""
    today = person.site.today(now)
    needs = ports.needs(person, today)
    sessions = list(
        access.sessions_offered_to(person)
        .filter(Q(starts_on__gt=today) | Q(Q(booked=True) | Q(waits=True), ends_on__gte=today))
        .with_list_columns()
        .prefetch_related("days")
        .order_by("starts_on", "number")[:MOST_OFFERS]
    )
    revisions = {session.course_revision_id for session in sessions}
    scopes, exercises = scopes_taught(revisions), _exercises_of(revisions)
    offers = Offers(needs)
    places = _places_in_line(person)
    for session in sessions:
        revision = session.course_revision_id
        serves = [
            need
            for need in needs
            if need.scope_code in scopes.get(revision, ())
            or need.exercise_codes & exercises.get(revision, set())
        ]
        offer = Offer(
            session,
            class_days(session),
            max(session.places - session.enrolled, 0),  # type: ignore[attr-defined]
            serves,
            session.booked,  # type: ignore[attr-defined]
            places.get(session.pk),
            last_day_to_book(session),
            is_open_to(session, person),
            session.site.today(now) <= last_day_to_book(session),
        )
        if offer.mine:
            offers.mine.append(offer)
        else:
            (offers.serving if serves else offers.others).append(offer)
    offers.serving.sort(key=lambda offer: needs.index(offer.serves[0]))
    return offers


def _exercises_of(revision_ids: set[int]) -> dict[int, set[str]]:
    """The codes of the exercises in the lessons of each revision of a course."""
    taught: dict[int, set[str]] = {}
    lessons = Lesson.objects.filter(course_revision__in=revision_ids, exercise__isnull=False)
    for revision, code in lessons.order_by().values_list("course_revision", "exercise__code"):
        taught.setdefault(revision, set()).add(code)
    return taught


def _places_in_line(person: Person) -> dict[int, int]:
    """Somebody's place on each waiting list that they are on, by the class."""
    own = WaitingPlace.objects.filter(person=person)
    return {
        waits.session_id: WaitingPlace.objects.filter(
            session=waits.session_id, rank__lte=waits.rank
        ).count()
        for waits in own
    }
