"""Rows of a checked work log recorded as practice: what would be, and the act itself."""

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

import polars as pl
from django.db import transaction
from django.utils.translation import gettext as _

from audit.domain.work_log import names_a_unit
from audit.domain.work_log_check import DAY, PERSON, SCOPE
from audit.exceptions import CannotRecord, LogChanged
from audit.models import WorkLogCheck
from people.models import Person, Role, User
from people.models.people import PersonQuerySet
from people.queries.employee_numbers import keys_by_number
from people.services.people import lock_people
from records.domain.canonical import as_json_value
from records.domain.shown import digest_of
from records.services import trail
from training import ports
from training.services.work_taken_in import (
    MOST_AT_ONCE,
    TakenIn,
    Work,
    recorded_keys,
    take_in_work,
    why_refused,
    withdrawn_days,
    work_key,
)

LONGEST_REFERENCE = 80
RECORDED = "work of a log recorded"


@dataclass
class LogPractice:
    """What of a log would be recorded as practice.

    Attributes
    ----------
    works : list of Work
        One for each person, scope and day of which no work is recorded yet, by its first unit.
    withdrawn : set of Work
        Those of the works of whose day some work was recorded before, and withdrawn.
    already : int
        Persons' days of which work is recorded.
    people : mapping of int to Person
        Whose work it is, by key.
    left_out : dict of str to int
        Days left out by the sentence that says why.
    too_many : bool
        Whether there are more than one act records; then there are no works.
    """

    works: list[Work] = field(default_factory=list)
    withdrawn: set[Work] = field(default_factory=set)
    people: dict[int, Person] = field(default_factory=dict)
    already: int = 0
    left_out: dict[str, int] = field(default_factory=dict)
    too_many: bool = False

    def digest(self) -> str:
        """Tells what one page showed from what another would."""
        rows = [
            [
                work.person_id,
                work.scope_code,
                work.performed_on.isoformat(),
                work.reference,
                work in self.withdrawn,
            ]
            for work in self.works
        ]
        return digest_of(as_json_value({"work": rows}))


def people_recorded_by(user: User) -> PersonQuerySet:
    """Whose work a log's reader records: people of the sites at which they are quality."""
    return Person.objects.filter(site__in=user.sites_as(Role.QUALITY))


def plan_of(
    check: WorkLogCheck, user: User, at: datetime, first: date | None, last: date | None
) -> LogPractice:
    """What of a checked log would be recorded, from a first through a last day if given."""
    rows = _days_in(check, first, last)
    people = people_recorded_by(user)
    keys = keys_by_number(people, {number for number, *_rest in rows})
    plan = LogPractice(
        people={
            person.pk: person
            for person in people.filter(pk__in=set(keys.values())).select_related("site")
        }
    )
    scopes = {code for code, _title in ports.scopes()}
    works = []
    for number, scope, day, unit in rows:
        work = Work(keys.get(number, 0), scope, day, (unit or "").strip()[:LONGEST_REFERENCE])
        why = why_refused(work, plan.people.get(work.person_id), scopes, user, at)
        if why:
            plan.left_out[why] = plan.left_out.get(why, 0) + 1
        else:
            works.append(work)
    known = recorded_keys(works, once_a_day=True)
    plan.works = [work for work in works if work_key(work, once_a_day=True) not in known]
    plan.already = len(works) - len(plan.works)
    if len(plan.works) > MOST_AT_ONCE:
        plan.too_many, plan.works = True, []
    withdrawn = withdrawn_days(plan.works, once_a_day=True)
    plan.withdrawn = {work for work in plan.works if work_key(work, once_a_day=True) in withdrawn}
    return plan


def _days_in(
    check: WorkLogCheck, first: date | None, last: date | None
) -> Sequence[tuple[str, str, date, str | None]]:
    """Number, scope, day and first unit of each person's day in a log; of known people alone."""
    with check.findings.open("rb") as file:
        frame = pl.scan_parquet(io.BytesIO(file.read()))
    headings = dict(zip(check.headings, check.columns, strict=True))
    unit = next((pl.col(column) for name, column in headings.items() if names_a_unit(name)), None)
    if first is not None:
        frame = frame.filter(pl.col(DAY) >= first)
    if last is not None:
        frame = frame.filter(pl.col(DAY) <= last)
    found = (
        frame.filter(pl.col(PERSON).is_not_null() & pl.col(SCOPE).is_not_null())
        .select(
            pl.col(headings["employee_number"]).alias("number"),
            pl.col(SCOPE).alias("scope"),
            pl.col(DAY).alias("on"),
            (unit if unit is not None else pl.lit("")).alias("unit"),
        )
        .group_by("number", "scope", "on", maintain_order=True)
        .agg(pl.col("unit").first())
        .sort("number", "scope", "on")
        .collect()
    )
    return found.rows()


@transaction.atomic
def record_practice_of(
    *,
    check: WorkLogCheck,
    actor: User,
    at: datetime,
    seen: str,
    first: date | None = None,
    last: date | None = None,
) -> TakenIn:
    """Record what the page showed of a log as practice, confirmed by the actor.

    Parameters
    ----------
    seen : str
        `LogPractice.digest` of what the page showed.

    Raises
    ------
    CannotRecord
        If there is nothing to record, more than one act records, or the actor may not.
    LogChanged
        If it is not what was shown.
    """
    if not actor.has_role(Role.QUALITY):
        raise CannotRecord(_("Quality alone records work from a log."))
    lock_people(plan_of(check, actor, at, first, last).people)
    plan = plan_of(check, actor, at, first, last)
    if plan.too_many:
        raise CannotRecord(
            _("There are more than %(most)d days of work. Give fewer days at a time.")
            % {"most": MOST_AT_ONCE}
        )
    if plan.digest() != seen:
        raise LogChanged(
            _("Since you opened this page something was recorded or withdrawn. Look at it again.")
        )
    if not plan.works:
        raise CannotRecord(_("There is nothing that is not recorded already."))
    outcome = take_in_work(
        works=plan.works, people=people_recorded_by(actor), actor=actor, at=at, once_a_day=True
    )
    trail.record(
        actor=actor,
        act=RECORDED,
        about=check,
        payload={
            "file_name": check.file_name,
            "sha256": check.sha256,
            "recorded": len(outcome.recorded),
            "first": min(work.performed_on for work in plan.works).isoformat(),
            "last": max(work.performed_on for work in plan.works).isoformat(),
        },
        at=at,
    )
    return outcome
