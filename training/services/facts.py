"""Facts about people that standing rests on: vision tests, practice, stamps.

Each is written with its entry in the trail, and told to whoever works standing out, in one
transaction. Nothing here is edited or deleted: what was entered in error is withdrawn.
"""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Person, User
from people.services.people import lock_person
from people.services.refusals import refuse_future_day, refuse_own
from records.models import Signature
from records.services import numbers, trail
from records.services.shown import refuse_unless_shown
from training import ports
from training.exceptions import TrainingError
from training.models import (
    PracticeRecord,
    PracticeWithdrawal,
    VisionTest,
    VisionTestWithdrawal,
)
from training.queries import written_down

from .refusals import refuse_before_start


@transaction.atomic
def record_vision_test(
    *,
    person: Person,
    tested_on: date,
    passed: bool,
    actor: User,
    at: datetime,
    method: str = "",
    with_lenses: bool | None = None,
    examiner: str = "",
) -> VisionTest:
    """Write a vision test down; raise TrainingError for one's own or for a day to come."""
    person = lock_person(person)
    refuse_own(person, actor, _("Somebody else has to enter your vision test."))
    refuse_future_day(person, tested_on, at)
    test = VisionTest.objects.create(
        test_id=numbers.next_number(person.site.prefix, "V"),
        person=person,
        tested_on=tested_on,
        passed=passed,
        method=method,
        with_lenses=with_lenses,
        examiner=examiner,
        recorded_by=actor,
        recorded_at=at,
    )
    trail.record(
        actor=actor,
        act="vision test recorded",
        about=test,
        payload=written_down.vision_test_content(test),
        at=at,
    )
    ports.facts_changed(person)
    return test


@transaction.atomic
def record_vision_test_once(*, person: Person, tested_on: date, **test: Any) -> VisionTest | None:
    """As `record_vision_test`; None where the last one of that day says just the same.

    A form sent twice records nothing twice. A test that says otherwise is another of that day.
    """
    person = lock_person(person)
    last = person.vision_tests.not_withdrawn().filter(tested_on=tested_on).first()
    said = ("passed", "method", "with_lenses", "examiner")
    if last is not None and all(getattr(last, name) == test.get(name) for name in said):
        return None
    return record_vision_test(person=person, tested_on=tested_on, **test)


@transaction.atomic
def withdraw_vision_test(
    *,
    vision_test: VisionTest,
    reason: str,
    actor: User,
    at: datetime,
    proof: str,
    shown: str | None = None,
) -> VisionTestWithdrawal:
    """From now on count a test as never entered, signed by whoever says so.

    Parameters
    ----------
    shown : str, optional
        The digest of what the actor was shown (`presenters.facts_shown`); ShownOtherwise is raised
        where the test says something else.
    """
    person = lock_person(vision_test.person)
    vision_test = VisionTest.objects.select_related("person").get(pk=vision_test.pk)
    refuse_unless_shown(shown, written_down.test_to_withdraw(vision_test))
    refuse_own(person, actor, _("Somebody else has to withdraw your vision test."))
    if VisionTestWithdrawal.objects.filter(vision_test=vision_test).exists():
        raise TrainingError(
            _("Vision test %(number)s has been withdrawn already.")
            % {"number": vision_test.test_id}
        )
    withdrawal = VisionTestWithdrawal(
        vision_test=vision_test,
        withdrawn_at=at,
        reason=_checked_reason(reason),
        withdrawn_by=actor,
    )
    content = written_down.test_withdrawal_content(withdrawal)
    withdrawal.signature = _sign_withdrawal(
        vision_test, person, written_down.WITHDRAWS_TEST, content, actor, at, proof
    )
    withdrawal.save(force_insert=True)
    trail.record(
        actor=actor, act="vision test withdrawn", about=vision_test, payload=content, at=at
    )
    ports.facts_changed(person)
    return withdrawal


@transaction.atomic
def record_practice(
    *,
    person: Person,
    scope_code: str,
    performed_on: date,
    actor: User,
    at: datetime,
    reference: str = "",
) -> PracticeRecord:
    """Write down work done within a scope, confirmed by the actor; not for oneself.

    It may be from before somebody's first day, as work elsewhere is that kept a certificate alive.
    """
    person = lock_person(person)
    refuse_own(person, actor, _("Somebody else has to confirm your work."))
    refuse_future_day(person, performed_on, at)
    practice = PracticeRecord.objects.create(
        person=person,
        scope_code=scope_code,
        performed_on=performed_on,
        reference=reference,
        confirmed_by=actor,
        recorded_at=at,
    )
    trail.record(
        actor=actor,
        act="practice recorded",
        about=practice,
        payload=written_down.practice_content(practice),
        at=at,
    )
    ports.facts_changed(person, scope_code)
    return practice


@transaction.atomic
def record_practice_once(
    *, person: Person, scope_code: str, performed_on: date, reference: str = "", **act: Any
) -> PracticeRecord | None:
    """As `record_practice`, of work done here; None where the same of that day is recorded already.

    Raises
    ------
    TrainingError
        Of a day before their first, too.
    """
    person = lock_person(person)
    refuse_before_start(person, performed_on)
    same = person.practice.not_withdrawn().filter(
        scope_code=scope_code, performed_on=performed_on, reference__iexact=reference
    )
    if same.exists():
        return None
    return record_practice(
        person=person,
        scope_code=scope_code,
        performed_on=performed_on,
        reference=reference,
        **act,
    )


@transaction.atomic
def withdraw_practice(
    *,
    practice: PracticeRecord,
    reason: str,
    actor: User,
    at: datetime,
    proof: str,
    shown: str | None = None,
) -> PracticeWithdrawal:
    """From now on count work as never entered, signed by whoever says so.

    Parameters
    ----------
    shown : str, optional
        The digest of what the actor was shown (`presenters.facts_shown`); ShownOtherwise is raised
        where the work says something else.
    """
    person = lock_person(practice.person)
    practice = PracticeRecord.objects.select_related("person").get(pk=practice.pk)
    refuse_unless_shown(shown, written_down.practice_to_withdraw(practice))
    refuse_own(person, actor, _("Somebody else has to withdraw your work."))
    if PracticeWithdrawal.objects.filter(practice=practice).exists():
        raise TrainingError(_("This work has been withdrawn already."))
    withdrawal = PracticeWithdrawal(
        practice=practice,
        withdrawn_at=at,
        reason=_checked_reason(reason),
        withdrawn_by=actor,
    )
    content = written_down.practice_withdrawal_content(withdrawal)
    withdrawal.signature = _sign_withdrawal(
        practice, person, written_down.WITHDRAWS_PRACTICE, content, actor, at, proof
    )
    withdrawal.save(force_insert=True)
    trail.record(actor=actor, act="practice withdrawn", about=practice, payload=content, at=at)
    ports.facts_changed(person, practice.scope_code)
    return withdrawal


def _sign_withdrawal(
    fact: VisionTest | PracticeRecord,
    person: Person,
    meaning: str,
    content: Mapping[str, Any],
    actor: User,
    at: datetime,
    proof: str,
) -> Signature:
    return trail.sign(
        actor=actor,
        meaning=meaning,
        about=fact,
        content=content,
        at=at,
        zone=person.site.time_zone,
        proof=proof,
    )


def _checked_reason(reason: str) -> str:
    if not reason.strip():
        raise TrainingError(_("Say why it is withdrawn."))
    return reason.strip()
