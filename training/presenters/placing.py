"""What the page that puts people in a class shows: them, and the classes to come."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from people.models import Person
from training import ports
from training.models import ClassSession
from training.queries.classes import enrolled_ahead, scopes_taught


@dataclass(frozen=True)
class PersonToPlace:
    """Somebody, and the classes to come that they are in already."""

    person: Person
    enrolled: Sequence[ClassSession]


@dataclass(frozen=True)
class ClassToFill:
    """A class to come, what it teaches, and whether all of them would have a place.

    ``newcomers`` are how many of the people are not in it yet.
    """

    session: ClassSession
    teaches: Sequence[str]
    free: int
    newcomers: int

    @property
    def has_room(self) -> bool:
        return self.newcomers <= self.free


@dataclass(frozen=True)
class Places:
    people: Sequence[PersonToPlace]
    classes: Sequence[ClassToFill]

    @property
    def in_one(self) -> int:
        """How many of the people are in a class to come."""
        return sum(bool(one.enrolled) for one in self.people)


def places_for(
    people: Sequence[Person],
    readable: QuerySet[ClassSession],
    sessions: QuerySet[ClassSession],
    day: date,
) -> Places:
    """Lay out the choice, in the same few queries however many are ticked.

    Parameters
    ----------
    people : sequence of Person
    readable : QuerySet of ClassSession
        Classes of which the reader may know who is in them.
    sessions : QuerySet of ClassSession
        Classes to choose from, with their list columns.
    day : date
        Today, the first of its days among the sites.
    """
    enrolled = enrolled_ahead({person.pk for person in people}, readable, day)
    offered = list(sessions)
    titles = dict(ports.scopes())
    taught = scopes_taught({session.course_revision_id for session in offered})
    in_class = {
        session.pk: sum(
            session.pk in {one.pk for one in enrolled.get(person.pk, ())} for person in people
        )
        for session in offered
    }
    return Places(
        [PersonToPlace(person, enrolled.get(person.pk, ())) for person in people],
        [
            ClassToFill(
                session,
                [
                    titles[code]
                    for code in sorted(taught.get(session.course_revision_id, ()))
                    if code in titles
                ],
                max(session.places - session.enrolled, 0),  # type: ignore[attr-defined]
                len(people) - in_class[session.pk],
            )
            for session in offered
        ],
    )
