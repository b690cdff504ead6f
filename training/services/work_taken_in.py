"""Work of many people and days taken in at once: from a checked work log, or from a program.

All of it is one act in one transaction: its people are locked in one order, what is recorded
already is read after that, and nothing is recorded twice however often it is sent.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Person, User
from people.models.people import PersonQuerySet
from people.presenters.days import format_day
from people.services.people import lock_people
from records.services import trail
from training import ports
from training.models import PracticeRecord
from training.models.practice import PracticeRecordQuerySet
from training.queries import written_down

from .refusals import why_before_start

MOST_AT_ONCE = 5_000


@dataclass(frozen=True, slots=True)
class Work:
    """Work that somebody did within a scope on a day, on a unit or work order."""

    person_id: int
    scope_code: str
    performed_on: date
    reference: str = ""


@dataclass
class TakenIn:
    """What became of some work: recorded, there already, or refused with a sentence."""

    recorded: list[Work] = field(default_factory=list)
    already: list[Work] = field(default_factory=list)
    refused: dict[Work, str] = field(default_factory=dict)


@transaction.atomic
def take_in_work(
    *,
    works: Iterable[Work],
    people: PersonQuerySet,
    actor: User | str,
    at: datetime,
    once_a_day: bool = False,
) -> TakenIn:
    """Record what is not recorded yet; what cannot be is told apart by a sentence.

    Parameters
    ----------
    works : iterable of Work
        No more than `MOST_AT_ONCE`.
    people : PersonQuerySet
        Whose work may be recorded; asked again once everybody is locked.
    actor : User or str
        Who confirms the work, or the program that sent it: then nobody is named as confirming, and
        what was withdrawn is not recorded again.
    once_a_day : bool
        One record for somebody's scope and day is enough, whatever it was done on. Else the same
        unit of the same day is what is not recorded twice.
    """
    works = list(dict.fromkeys(works))
    lock_people({work.person_id for work in works})
    there = {person.pk: person for person in people.filter(
        pk__in={work.person_id for work in works}
    ).select_related("site")}  # fmt: skip
    scopes = {code for code, _title in ports.scopes()}
    known = recorded_keys(works, once_a_day=once_a_day)
    # A program sends its last days again and again; whoever confirms work may think better of it.
    withdrawn = {} if isinstance(actor, User) else withdrawn_days(works, once_a_day=once_a_day)
    outcome, rows = TakenIn(), []
    for work in works:
        why = why_refused(work, there.get(work.person_id), scopes, actor, at)
        if why:
            outcome.refused[work] = why
        elif (key := work_key(work, once_a_day=once_a_day)) in known:
            outcome.already.append(work)
        elif (day := withdrawn.get(key)) is not None:
            outcome.refused[work] = _(
                "This work was withdrawn on %(day)s. Have it recorded by hand if it was done."
            ) % {"day": format_day(day)}
        else:
            known.add(key)
            outcome.recorded.append(work)
            rows.append(_row(work, there[work.person_id], actor, at))
    _write(rows, actor, at)
    return outcome


def why_refused(
    work: Work,
    person: Person | None,
    scopes: Collection[str],
    actor: User | str,
    at: datetime,
) -> str:
    """Why work is not recorded; empty where it can be."""
    if person is None or work.scope_code not in scopes:
        return _("There is nobody of this number whose work is recorded here, or no such scope.")
    if isinstance(actor, User) and actor.person_id == person.pk:
        return _("Somebody else has to confirm your work.")
    if work.performed_on > person.site.today(at):
        return _("%(day)s is still to come.") % {"day": format_day(work.performed_on)}
    if person.left_on is not None and person.left_on < work.performed_on:
        return _("%(name)s left on %(day)s, before that day.") % {
            "name": person.full_name,
            "day": format_day(person.left_on),
        }
    return why_before_start(person, work.performed_on)


def work_key(work: Work, *, once_a_day: bool) -> tuple:
    """What tells one piece of work from another."""
    same = (work.person_id, work.scope_code, work.performed_on)
    return same if once_a_day else (*same, work.reference.casefold())


def recorded_keys(works: Sequence[Work], *, once_a_day: bool) -> set[tuple]:
    """What is recorded already of the people and days of some work (`work_key`)."""
    if not works:
        return set()
    rows = _about_the_days_of(works).not_withdrawn()
    return {
        work_key(Work(*row), once_a_day=once_a_day)
        for row in rows.values_list("person_id", "scope_code", "performed_on", "reference")
    }


def withdrawn_days(works: Sequence[Work], *, once_a_day: bool) -> dict[tuple, date]:
    """When work of the people and days of some work was last withdrawn, by `work_key`."""
    if not works:
        return {}
    rows = _about_the_days_of(works).filter(withdrawal__isnull=False)
    rows = rows.select_related("person__site", "withdrawal").order_by("withdrawal__withdrawn_at")
    days = {}
    for row in rows:
        work = Work(row.person_id, row.scope_code, row.performed_on, row.reference)
        day = row.person.site.today(row.withdrawal.withdrawn_at)
        days[work_key(work, once_a_day=once_a_day)] = day
    return days


def _about_the_days_of(works: Sequence[Work]) -> PracticeRecordQuerySet:
    days = [work.performed_on for work in works]
    return PracticeRecord.objects.filter(
        person__in={work.person_id for work in works},
        performed_on__gte=min(days),
        performed_on__lte=max(days),
    )


def _row(work: Work, person: Person, actor: User | str, at: datetime) -> PracticeRecord:
    return PracticeRecord(
        person=person,
        scope_code=work.scope_code,
        performed_on=work.performed_on,
        reference=work.reference,
        confirmed_by=actor if isinstance(actor, User) else None,
        recorded_at=at,
    )


def _write(rows: Sequence[PracticeRecord], actor: User | str, at: datetime) -> None:
    PracticeRecord.objects.bulk_create(rows)
    recorded, imported = written_down.PRACTICE_ACTS
    trail.record_many(
        actor=actor,
        act=recorded if isinstance(actor, User) else imported,
        items=[(row, written_down.practice_content(row)) for row in rows],
        at=at,
    )
    changed = {(row.person_id, row.scope_code): row.person for row in rows}
    for (_pk, scope_code), person in sorted(changed.items(), key=lambda pair: pair[0]):
        ports.facts_changed(person, scope_code)
