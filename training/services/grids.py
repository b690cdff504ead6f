"""One fact each of many people or tools in one act: what fits is written, what does not is said.

Every row is an act of its own, through the service that writes one such fact, in a transaction of
its own: its person or tool is locked, then read, then judged. What has been recorded already just
as the row says is not recorded again, however often and by how many a grid is sent.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from people.models import Person, User
from people.models.people import PersonQuerySet
from people.presenters.days import format_day, format_instant
from people.services.people import lock_people
from records.exceptions import Refusal
from training.exceptions import TrainingError
from training.models import Calibration, Tool, VisionTest
from training.queries.tool_fitness import calibrated_already

from .facts import record_practice_once, record_vision_test
from .outcomes import Outcome
from .tools import lock_tools, record_calibration

Row = TypeVar("Row")


@dataclass(frozen=True)
class VisionResult:
    passed: bool
    with_lenses: bool | None = None


@dataclass(frozen=True)
class CalibrationResult:
    passed: bool
    reference: str = ""


def record_vision_tests(
    *,
    results: Mapping[int, VisionResult],
    people: PersonQuerySet,
    tested_on: date,
    actor: User,
    at: datetime,
    method: str = "",
    examiner: str = "",
) -> Outcome:
    """Write down the vision tests of one day; of somebody tested that day already it is said.

    Parameters
    ----------
    results : mapping of int to VisionResult
        By the key of the person.
    people : PersonQuerySet
        Whose tests the actor may write down; asked again of each once they are locked.
    """

    def record(key: int, result: VisionResult) -> bool:
        person = _locked_person(people, key, tested_on)
        tests = person.vision_tests.not_withdrawn().filter(tested_on=tested_on)
        earlier = tests.select_related("recorded_by__person").first()
        if earlier is not None and earlier.passed == result.passed:
            return False
        if earlier is not None:
            raise TrainingError(_tested_already(earlier, person))
        record_vision_test(
            person=person,
            tested_on=tested_on,
            passed=result.passed,
            with_lenses=result.with_lenses,
            method=method,
            examiner=examiner,
            actor=actor,
            at=at,
        )
        return True

    return _record_each(results, record)


def record_work(
    *,
    person_keys: Collection[int],
    people: PersonQuerySet,
    scope_code: str,
    performed_on: date,
    reference: str,
    actor: User,
    at: datetime,
) -> Outcome:
    """Confirm that people worked within a scope on a day, on one unit or work order."""

    def record(key: int, _row: None) -> bool:
        recorded = record_practice_once(
            person=_locked_person(people, key, performed_on),
            scope_code=scope_code,
            performed_on=performed_on,
            reference=reference,
            actor=actor,
            at=at,
        )
        return recorded is not None

    return _record_each(dict.fromkeys(person_keys), record)


def record_calibrations(
    *,
    results: Mapping[int, CalibrationResult],
    tools: QuerySet[Tool],
    calibrated_on: date,
    valid_through: date,
    actor: User,
    at: datetime,
) -> Outcome:
    """Write down the calibrations of one day; of a tool calibrated that day already it is said.

    ``tools`` are those that the actor keeps; asked again of each once it is locked.
    """
    longest = Calibration._meta.get_field("reference").max_length or 0

    def record(key: int, result: CalibrationResult) -> bool:
        lock_tools([key])
        tool = tools.filter(pk=key).first()
        if tool is None:
            raise TrainingError(_("It is not among the tools that you keep any more."))
        if tool.retired_on is not None:
            raise TrainingError(
                _("%(code)s is out of use since %(day)s. Leave it out here.")
                % {"code": tool.code, "day": format_day(tool.retired_on)}
            )
        if len(result.reference) > longest:
            raise TrainingError(
                _("A report’s name has at most %(n)d characters. Shorten it.") % {"n": longest}
            )
        earlier = (
            tool.calibrations.not_withdrawn()
            .filter(calibrated_on=calibrated_on)
            .order_by("-pk")
            .first()
        )
        if earlier is not None:
            says = (earlier.passed, earlier.valid_through, earlier.reference)
            is_same = says == (result.passed, valid_through, result.reference)
            # Said of how it was found, another says more than a grid can repeat.
            if is_same and earlier.passed_as_found is None:
                return False
            raise TrainingError(calibrated_already(earlier))
        record_calibration(
            tool=tool,
            calibrated_on=calibrated_on,
            valid_through=valid_through,
            passed=result.passed,
            reference=result.reference,
            actor=actor,
            at=at,
        )
        return True

    return _record_each(results, record)


def _record_each(rows: Mapping[int, Row], record: Callable[[int, Row], bool]) -> Outcome:
    outcome = Outcome()
    for key, row in rows.items():
        try:
            with transaction.atomic():
                is_new = record(key, row)
        except Refusal as error:
            outcome.refused[key] = str(error)
        else:
            (outcome.recorded if is_new else outcome.already).append(key)
    return outcome


def _locked_person(people: PersonQuerySet, key: int, day: date) -> Person:
    """One of these people, locked before they are read; refused where they had left by the day."""
    lock_people([key])
    person = people.select_related("site", "line_lead").filter(pk=key).first()
    if person is None:
        raise TrainingError(_("They are not among the people of whom you record this any more."))
    if person.left_on is not None and person.left_on < day:
        raise TrainingError(
            _("%(name)s left on %(left)s, before that day. Give an earlier day, or leave them out.")
            % {"name": person.full_name, "left": format_day(person.left_on)}
        )
    return person


def _tested_already(test: VisionTest, person: Person) -> str:
    words = {
        "day": format_day(test.tested_on),
        "at": format_instant(test.recorded_at, person.site.time_zone),
        "who": test.recorded_by or _("an import"),
    }
    if test.passed:
        return (
            _(
                "There is a test of %(day)s already: passed, entered %(at)s by %(who)s. Leave them "
                "out here, or withdraw that one on their page first."
            )
            % words
        )
    return (
        _(
            "There is a test of %(day)s already: not passed, entered %(at)s by %(who)s. Leave them "
            "out here, or withdraw that one on their page first."
        )
        % words
    )
