"""The waiting list of a full class: who waits in which order, and who gets a place that is free."""

from collections.abc import Collection, Sequence
from datetime import datetime

from django.db import transaction
from django.db.models import Max, Min
from django.utils.translation import gettext as _

from people.models import Person, User
from people.services.people import lock_people
from records.services import trail
from training.exceptions import TrainingError
from training.models import ClassLetter, ClassSession, Enrolment, WaitingPlace
from training.queries.completed import lacking
from training.queries.meeting_classes import overlapping

from .class_lock import (
    enrolment_payload,
    lock_session,
    refuse_cancelled,
    refuse_who_lacks,
    refuse_who_left,
    waiting_payload,
)
from .letters import write_letters


class _SomebodyCame(Exception):
    pass


def lock_with_waiting(
    session: ClassSession, person_ids: Collection[int] = (), *, with_enrolled: bool = False
) -> ClassSession:
    """Lock these people and all who wait, then the class; inside a transaction.

    People come first in the order of locks, so who waits, or is in the class where that is asked
    for, is read before the class is locked. Where somebody came in between, the locks are given
    back and taken anew.
    """

    def concerned() -> set[int]:
        people = set(session.waiting_places.values_list("person", flat=True))
        if with_enrolled:
            people |= set(session.enrolments.values_list("person", flat=True))
        return people

    while True:
        people = concerned()
        try:
            with transaction.atomic():
                lock_people({*person_ids, *people})
                locked = lock_session(session)
                if concerned() <= people:
                    return locked
                raise _SomebodyCame
        except _SomebodyCame:
            continue


@transaction.atomic
def wait_for_place(
    *, session: ClassSession, people: Sequence[Person], actor: User, at: datetime
) -> list[WaitingPlace]:
    """Put people at the end of the waiting list, all or nobody; whoever is on it keeps their place.

    Raises
    ------
    TrainingError
        If the class has a place free, is cancelled or has begun, or somebody will have left.
    """
    lock_people([person.pk for person in people])
    session = lock_session(session)
    refuse_cancelled(session)
    if session.site.today(at) >= session.starts_on:
        raise TrainingError(_("The class has begun, so nobody waits for it any more."))
    here = {
        *session.enrolments.values_list("person", flat=True),
        *session.waiting_places.values_list("person", flat=True),
    }
    newcomers = [person for person in people if person.pk not in here]
    if newcomers and session.enrolments.count() < session.places:
        raise TrainingError(_("The class has a place free. Take it instead of waiting."))
    refuse_who_left(session, newcomers)
    refuse_who_lacks(session, newcomers)
    last = session.waiting_places.aggregate(last=Max("rank"))["last"] or 0
    waiting = [
        WaitingPlace.objects.create(session=session, person=person, rank=rank, recorded_at=at)
        for rank, person in enumerate(newcomers, start=last + 1)
    ]
    trail.record_many(
        actor=actor,
        act="person waits for class",
        items=[(session, waiting_payload(one)) for one in waiting],
        at=at,
    )
    return waiting


@transaction.atomic
def put_first(*, waiting: WaitingPlace, reason: str, actor: User, at: datetime) -> None:
    """Have somebody get the next place that is free, for a reason, before those who came earlier.

    Raises
    ------
    TrainingError
        If they are not on the waiting list any more.
    """
    session = lock_session(waiting.session)
    waiting = _still_waiting(waiting)
    lowest = session.waiting_places.aggregate(lowest=Min("rank"))["lowest"]
    if waiting.rank == lowest:
        return
    waiting.rank = lowest - 1
    waiting.save(update_fields=["rank"])
    trail.record(
        actor=actor,
        act="person put first on waiting list",
        about=session,
        payload=waiting_payload(waiting) | {"reason": reason},
        at=at,
    )


@transaction.atomic
def stop_waiting(*, waiting: WaitingPlace, actor: User, at: datetime) -> None:
    """Take somebody off the waiting list; raise TrainingError where they are not on it any more."""
    session = lock_session(waiting.session)
    waiting = _still_waiting(waiting)
    trail.record(
        actor=actor,
        act="person waits no longer",
        about=session,
        payload=waiting_payload(waiting),
        at=at,
    )
    waiting.delete()


def _still_waiting(waiting: WaitingPlace) -> WaitingPlace:
    still = WaitingPlace.objects.select_related("session", "person").filter(pk=waiting.pk).first()
    if still is None:
        raise TrainingError(
            _("%(name)s is not on the waiting list any more.") % {"name": waiting.person.full_name}
        )
    return still


def fill_places(session: ClassSession, *, actor: User, at: datetime) -> list[Enrolment]:
    """Give places that are free to those who have waited longest; under `lock_with_waiting`.

    Whoever will have left or is in another class on the same days keeps waiting, and the next
    one gets the place. Nobody gets one once the class has begun.
    """
    if session.cancelled_at is not None or session.site.today(at) >= session.starts_on:
        return []
    free = session.places - session.enrolments.count()
    moved_up: list[Enrolment] = []
    for waiting in session.waiting_places.select_related("person", "session").order_by("rank"):
        if len(moved_up) >= free:
            break
        if cannot_come(waiting):
            continue
        moved_up.append(
            Enrolment.objects.create(session=session, person=waiting.person, recorded_at=at)
        )
        waiting.delete()
    trail.record_many(
        actor=actor,
        act="person moved up from waiting list",
        items=[(session, enrolment_payload(enrolment)) for enrolment in moved_up],
        at=at,
    )
    people = [enrolment.person for enrolment in moved_up]
    write_letters(session, people, ClassLetter.Kind.INVITATION, at=at, moved_up=True)
    return moved_up


def cannot_come(waiting: WaitingPlace) -> bool:
    left_on = waiting.person.left_on
    has_left = left_on is not None and left_on < waiting.session.starts_on
    return (
        has_left
        or overlapping(waiting.session, [waiting.person]).exists()
        or bool(lacking([waiting.session], [waiting.person_id]))
    )
