"""Long lists of people, taken in or undone by a worker: some people at a time, each step whole.

The row is the truth; a message only wakes the worker. A step locks the list, so that of two workers
one goes on, and writes some people and how far it is in one transaction: whoever dies in between is
followed by another, and nobody is written twice. Others who write to the records get their turn
between two steps.

What is done is what was shown: of each person the list keeps a digest of what its page said, and
who would be written otherwise by now stays out and is named, with the reason.
"""

import logging
import time
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any

import celery
from django.db import IntegrityError, OperationalError, transaction
from django.utils import translation
from django.utils.translation import gettext as _
from kombu.exceptions import OperationalError as BrokerIsAway

from audit.domain.list_columns import Field
from audit.exceptions import ListTakenIn
from audit.models import PeopleList
from audit.queries.list_bringers import Bringer, bringer_for
from audit.queries.list_plan import PersonPlan, Plan, leads_first, make_plan
from audit.queries.list_undoing import Undoing, plan_undoing
from certification.services.acts import Act
from people.domain.employee_numbers import number_key
from people.models import Person, User
from people.services.people import lock_people, refuse_last_administrators
from records.exceptions import Refusal
from records.services import trail

from .list_taking_back import lock_concerned, take_back, withdraw_facts
from .list_writes import write_plan

log = logging.getLogger(__name__)

WORK = "people_lists.work"
SEND_LINKS = "people_lists.send_links"
PEOPLE_A_STEP = 150
UNDONE_A_STEP = 50
PAUSE_S = 0.3
"""Between two steps, so that whoever waits to write is not overtaken by the next."""
ROUND = timedelta(minutes=4)
"""After it the worker takes up other work, and is asked again."""
DEADLOCK = "40P01"
Clock = Callable[[], datetime]


# Beginning


def begin_taking_in(
    people_list: PeopleList, plan: Plan, *, sign_ins: bool, at: datetime
) -> PeopleList:
    """Have a list taken in as it was planned; in the transaction that holds its row."""
    people = leads_first(plan.people)
    keep_day_form(people_list, plan)
    people_list.begun_at = at
    people_list.work = {
        "pending": [[one.number, one.act_digest(), one.may_open] for one in people],
        "total": len(people),
        "sign_ins": sign_ins,
        "language": translation.get_language() or "en",
        "not_done": [],
    }
    people_list.result = {
        "since": at.isoformat(),
        "counts": {"left_alone": len(plan.people) - len(people)},
    }
    people_list.save(update_fields=["begun_at", "work", "result", "answers"])
    wake_worker(WORK, people_list.pk)
    return people_list


def keep_day_form(people_list: PeopleList, plan: Plan) -> None:
    """Have a list say how its days are written where all of it tells, since a step may not."""
    if plan.open.day_forms and len(plan.open.day_forms) == 1:
        people_list.answers = {
            **people_list.answers,
            "day_form": str(next(iter(plan.open.day_forms))),
        }


def begin_undoing(
    people_list: PeopleList, undoing: Undoing, reason: str, proof: str, at: datetime
) -> PeopleList:
    """Have a list undone of everybody of whom something can be; the others stay and are named."""
    pending = sorted(undoing.concerned())
    people_list.begun_at = at
    people_list.work = {
        "pending": pending,
        "total": len(pending),
        "reason": reason,
        "proof": proof,
        "language": translation.get_language() or "en",
        "undone": 0,
        "left": [],
        "stays": undoing.stays_written(),
    }
    people_list.save(update_fields=["begun_at", "work"])
    wake_worker(WORK, people_list.pk)
    return people_list


def wake_worker(task: str, list_id: int) -> None:
    """Ask for work on a list once it is committed; a lost message is found by the next round."""

    def send() -> None:
        try:
            celery.current_app.send_task(task, (list_id,))
        except (BrokerIsAway, OSError) as error:
            log.info("The next round finds the list by itself: %s", error)

    transaction.on_commit(send, robust=True)


# Working


def work_on_due(*, clock: Clock, pause: Callable[[float], None] = time.sleep) -> int:
    """Go on with the lists that a round, a lost message or a dead worker left; how many ended."""
    begun = PeopleList.objects.filter(begun_at__isnull=False).order_by("begun_at", "pk")
    return sum(
        work_on(list_id, clock=clock, pause=pause) for list_id in begun.values_list("pk", flat=True)
    )


def work_on(list_id: int, *, clock: Clock, pause: Callable[[float], None] = time.sleep) -> bool:
    """Go on with a list, one step after another; return whether it has ended by it.

    A step that a service refuses is done again person by person, so that the one who is refused
    stays out alone.
    """
    begun, one_by_one = clock(), 0
    while clock() - begun < ROUND:
        try:
            left = _step(list_id, 1 if one_by_one else 0, clock())
        except (Refusal, IntegrityError, OperationalError) as error:
            if isinstance(error, OperationalError) and not _is_deadlock(error):
                raise
            if not one_by_one:
                one_by_one = PEOPLE_A_STEP
                continue
            left = _leave_out_first(list_id, error, clock())
        if left is None:
            return False  # Somebody else goes on with it, or it had ended.
        if left == 0:
            return True
        one_by_one = max(0, one_by_one - 1)
        pause(0 if one_by_one else PAUSE_S)
    wake_worker(WORK, list_id)
    return False


def _is_deadlock(error: OperationalError) -> bool:
    return getattr(error.__cause__, "sqlstate", "") == DEADLOCK


def _take_up(list_id: int) -> PeopleList | None:
    """A list that is being worked on, its row held; None if somebody else holds it."""
    lists = PeopleList.objects.select_for_update(of=("self",), skip_locked=True)
    return (
        lists.filter(pk=list_id, begun_at__isnull=False)
        .select_related("brought_by__person__site")
        .first()
    )


@transaction.atomic
def _step(list_id: int, size: int, at: datetime) -> int | None:
    """Write some people of a list, or one; return how many are left, None if it is not ours."""
    people_list = _take_up(list_id)
    if people_list is None:
        return None
    by = people_list.brought_by
    with translation.override(people_list.work["language"]):
        if not by.may_sign_in(at):
            return _end(people_list, _("whoever brought the list signs in no more"), at)
        if people_list.taken_in_at is not None:
            _undo_some(people_list, by, size or UNDONE_A_STEP, at)
        else:
            _take_some_in(people_list, bringer_for(by), size or PEOPLE_A_STEP, at)
        if people_list.work["pending"]:
            people_list.save(update_fields=["work", "result"])
            return len(people_list.work["pending"])
        return _end(people_list, "", at)


@transaction.atomic
def _leave_out_first(list_id: int, error: Exception, at: datetime) -> int | None:
    """Leave out the first of those who wait, since a service refuses them."""
    people_list = _take_up(list_id)
    if people_list is None:
        return None
    with translation.override(people_list.work["language"]):
        why = str(error) if isinstance(error, Refusal) else _somebody_else()
        first = people_list.work["pending"].pop(0)
        _leave_out(people_list, [first], why)
        if people_list.work["pending"]:
            people_list.save(update_fields=["work"])
            return len(people_list.work["pending"])
        return _end(people_list, "", at)


def _somebody_else() -> str:
    return _("somebody entered the same number at the same moment")


def _leave_out(people_list: PeopleList, pending: Sequence[Any], why: str) -> None:
    work = people_list.work
    if people_list.taken_in_at is None:
        work["not_done"] += [[number, why, None] for number, _digest, _opens in pending]
    else:
        names = Person.objects.in_bulk(pending)
        work["stays"] += [[names[pk].full_name, _("what the list made"), why] for pk in pending]


# Taking in


def _take_some_in(people_list: PeopleList, bringer: Bringer, size: int, at: datetime) -> None:
    work = people_list.work
    lot, work["pending"] = work["pending"][:size], work["pending"][size:]
    part = part_of(people_list, {number_key(number) for number, _digest, _opens in lot})
    first = make_plan(part, bringer, at)
    lock_people([one.person.pk for one in first.people if one.person is not None])
    plan = make_plan(part, bringer, at)
    people = _as_shown(plan, part, lot, work["not_done"])
    if not people:
        return
    chosen = Plan(people=people, named=plan.named, register=plan.register, answers=plan.answers)
    refuse_last_administrators(chosen.ending_sooner, at)
    made = write_plan(people_list, chosen, bringer, sign_ins=work["sign_ins"], at=at)
    people_list.result = _joined(people_list.result, made)


def part_of(people_list: PeopleList, keys: set[str]) -> PeopleList:
    """The rows of some people, as a list that nobody keeps."""
    place = people_list.columns.index(Field.EMPLOYEE_NUMBER)
    rows = [[line, cells] for line, cells in people_list.rows if number_key(cells[place]) in keys]
    lines = {line for line, _cells in rows}
    return PeopleList(
        brought_by_id=people_list.brought_by_id,
        file_name=people_list.file_name,
        headings=people_list.headings,
        rows=rows,
        doubts=[doubt for doubt in people_list.doubts if doubt[0] in lines],
        columns=people_list.columns,
        answers=people_list.answers,
        left_out=people_list.left_out,
    )


def _as_shown(
    plan: Plan, part: PeopleList, lot: Sequence[Any], not_done: list[list[Any]]
) -> list[PersonPlan]:
    """Those who are written as their page said, in the order of the lot; the others are noted."""
    planned = {number_key(one.number): one for one in plan.people}
    place = part.columns.index(Field.EMPLOYEE_NUMBER)
    key_by_line = {line: number_key(cells[place]) for line, cells in part.rows}
    faults = {key_by_line[fault.line]: fault for fault in reversed(plan.faults)}
    people = []
    for number, digest, opens in lot:
        key = number_key(number)
        one = planned.get(key)
        if one is not None and one.user is None and not opens:
            one.address_taken = True  # Others of the list have it too.
        if one is not None and not plan.open and one.act_digest() == digest:
            people.append(one)
        elif key in faults:
            fault = faults[key]
            not_done.append([number, "", [fault.field, fault.fault, fault.said, fault.other]])
        else:
            not_done.append([number, _("something about them has changed since"), None])
    return people


def _joined(result: dict[str, Any], made: dict[str, Any]) -> dict[str, Any]:
    """What all steps made together."""
    joined = dict(result)
    for name, rows in made.items():
        if name != "counts":
            joined[name] = [*result.get(name, []), *rows]
    counts = dict(result["counts"])
    for name, count in made["counts"].items():
        counts[name] = counts.get(name, 0) + count
    return joined | {"counts": counts}


# Undoing


def _undo_some(people_list: PeopleList, by: User, size: int, at: datetime) -> None:
    work = people_list.work
    lot, work["pending"] = work["pending"][:size], work["pending"][size:]
    bringer = bringer_for(by)
    lock_concerned(plan_undoing(people_list, bringer, at, lot), at)
    undoing = plan_undoing(people_list, bringer, at, lot)
    act = Act(actor=by, at=at, proof=work["proof"], reason=work["reason"])
    withdraw_facts(undoing, act)
    work["left"] += take_back(undoing, act)
    work["undone"] += undoing.count
    known = [tuple(each) for each in work["stays"]]
    work["stays"] += [each for each in undoing.stays_written() if tuple(each) not in known]


# Ending


@transaction.atomic
def stop(*, people_list: PeopleList, at: datetime) -> PeopleList:
    """Have a list taken in no further: what is done stays, and can be undone.

    Raises
    ------
    ListTakenIn
        If it is not being taken in.
    """
    people_list = (
        PeopleList.objects.select_for_update(of=("self",))
        .select_related("brought_by__person__site")
        .get(pk=people_list.pk)
    )
    if people_list.begun_at is None or people_list.taken_in_at is not None:
        raise ListTakenIn(_("This list is not being taken in: it has ended, or was not begun."))
    _end(people_list, _("it was stopped before their turn"), at)
    return people_list


def _end(people_list: PeopleList, why: str, at: datetime) -> int:
    """Close a list, whoever still waits being left out for a reason; nobody is left then."""
    work = people_list.work
    _leave_out(people_list, work["pending"], why)
    if people_list.taken_in_at is not None:
        act = Act(actor=people_list.brought_by, at=at, proof=work["proof"], reason=work["reason"])
        close_undone(people_list, work["undone"], work["left"], work["stays"], act)
        return 0
    result = people_list.result
    result["not_done"] = work["not_done"]
    close_taken_in(people_list, result, people_list.brought_by, at)
    return 0


def close_taken_in(
    people_list: PeopleList, result: dict[str, Any], actor: User | str, at: datetime
) -> PeopleList:
    """Keep what a list made, forget what it said, and write it down."""
    people_list.result = result
    people_list.taken_in_at = at
    people_list.begun_at, people_list.work = None, {}
    people_list.links_to_send = len(result.get("to_mail", ()))
    people_list.rows, people_list.doubts = [], []
    people_list.answers, people_list.left_out = {}, []
    people_list.save()
    trail.record(
        actor=actor,
        act="list of people taken in",
        about=people_list,
        payload={
            "file": people_list.file_name,
            "sha256": people_list.sha256,
            "counts": result["counts"],
            "not_done": len(result.get("not_done", ())),
        },
        at=at,
    )
    if people_list.links_to_send:
        wake_worker(SEND_LINKS, people_list.pk)
    return people_list


def close_undone(
    people_list: PeopleList,
    count: int,
    people_left: list[int],
    stays: list[list[str]],
    act: Act,
) -> PeopleList:
    """Keep what was undone of a list and what stays, and write it down."""
    people_list.undone_at = act.at
    people_list.begun_at, people_list.work = None, {}
    people_list.undoing = {"left": people_left, "count": count, "stays": stays}
    people_list.save(update_fields=["undone_at", "undoing", "begun_at", "work"])
    trail.record(
        actor=act.actor,
        act="list of people undone",
        about=people_list,
        payload={
            "file": people_list.file_name,
            "reason": act.reason,
            "undone": count,
            "stays": len(stays),
        },
        at=act.at,
    )
    return people_list
