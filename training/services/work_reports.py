"""Work reported by whoever did it, and confirmed or refused by whoever confirms their work."""

from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Person, User
from people.models.people import PersonQuerySet
from people.presenters.days import format_day
from people.services.people import lock_person
from people.services.refusals import refuse_future_day, refuse_own
from records.exceptions import Refusal
from records.services import trail
from training import ports
from training.exceptions import TrainingError
from training.models import PracticeRecord, WorkReport, WorkReportDecision
from training.queries import written_down

from .facts import record_practice_once
from .outcomes import Outcome
from .refusals import refuse_before_start

MOST_UNDECIDED = 100


@transaction.atomic
def report_work(
    *,
    person: Person,
    scope_code: str,
    performed_on: date,
    reference: str,
    actor: User,
    at: datetime,
) -> WorkReport | None:
    """Report one's own work; None where the same is reported and undecided, or recorded already.

    Raises
    ------
    TrainingError
        If it is somebody else's work, of no scope in use, or too many reports are undecided.
    """
    person = lock_person(person)
    if actor.person_id != person.pk:
        raise TrainingError(_("Everybody reports their own work alone."))
    if scope_code not in {code for code, _title in ports.scopes()}:
        raise TrainingError(_("There is no such scope in use any more. Choose another."))
    refuse_future_day(person, performed_on, at)
    refuse_before_start(person, performed_on)
    reference = reference.strip()
    if not reference:
        raise TrainingError(_("Name the unit or work order: whoever confirms it looks there."))
    same = {"scope_code": scope_code, "performed_on": performed_on, "reference__iexact": reference}
    undecided = person.work_reports.undecided()
    if undecided.filter(**same).exists() or person.practice.not_withdrawn().filter(**same).exists():
        return None
    if undecided.count() >= MOST_UNDECIDED:
        raise TrainingError(
            _("%(n)d reports of yours wait to be confirmed. Have them confirmed first.")
            % {"n": MOST_UNDECIDED}
        )
    report = WorkReport.objects.create(
        person=person,
        scope_code=scope_code,
        performed_on=performed_on,
        reference=reference,
        reported_by=actor,
        recorded_at=at,
    )
    trail.record(
        actor=actor,
        act=written_down.WORK_REPORTED,
        about=report,
        payload=written_down.work_report_content(report),
        at=at,
    )
    return report


@transaction.atomic
def decide_report(
    *,
    report: WorkReport,
    confirmed: bool,
    people: PersonQuerySet,
    actor: User,
    at: datetime,
    reason: str = "",
) -> WorkReportDecision:
    """Confirm a report, so that the work counts, or refuse it and say why.

    Parameters
    ----------
    people : PersonQuerySet
        Whose work the actor confirms; asked again once the person is locked.

    Raises
    ------
    TrainingError
        If somebody was faster, it is not the actor's to decide, or no reason is given.
    """
    person = lock_person(report.person)
    refuse_own(person, actor, _("Somebody else has to confirm your work."))
    if not people.filter(pk=person.pk).exists():
        raise TrainingError(_("They are not among the people whose work you confirm any more."))
    kept = WorkReport.objects.select_related("person").filter(pk=report.pk).first()
    if kept is None:
        raise TrainingError(_("This report is kept no longer. Record the work itself instead."))
    report = kept
    earlier = WorkReportDecision.objects.filter(report=report).select_related("decided_by").first()
    if earlier is not None:
        raise TrainingError(_decided_already(earlier, person))
    if not confirmed and not reason.strip():
        raise TrainingError(_("Say why it is refused: whoever reported it reads it."))
    decision = WorkReportDecision.objects.create(
        report=report,
        confirmed=confirmed,
        reason="" if confirmed else reason.strip(),
        decided_by=actor,
        practice=_recorded(report, person, actor, at) if confirmed else None,
        recorded_at=at,
    )
    trail.record(
        actor=actor,
        act=written_down.WORK_CONFIRMED if confirmed else written_down.WORK_REFUSED,
        about=report,
        payload=written_down.work_decision_content(decision),
        at=at,
    )
    return decision


def _recorded(report: WorkReport, person: Person, actor: User, at: datetime) -> PracticeRecord:
    """The work of a report, recorded now or before."""
    if person.left_on is not None and person.left_on < report.performed_on:
        raise TrainingError(
            _("%(name)s left on %(day)s, before that day.")
            % {"name": person.full_name, "day": format_day(person.left_on)}
        )
    made = record_practice_once(
        person=person,
        scope_code=report.scope_code,
        performed_on=report.performed_on,
        reference=report.reference,
        actor=actor,
        at=at,
    )
    if made is not None:
        return made
    return (
        person.practice.not_withdrawn()
        .filter(
            scope_code=report.scope_code,
            performed_on=report.performed_on,
            reference__iexact=report.reference,
        )
        .latest("pk")
    )


def decide_reports(
    *,
    reports: Sequence[WorkReport],
    confirmed: bool,
    people: PersonQuerySet,
    actor: User,
    at: datetime,
    reason: str = "",
) -> Outcome:
    """Decide several, each an act of its own; what cannot be decided is told by a sentence."""
    outcome = Outcome()
    for report in reports:
        try:
            decide_report(
                report=report,
                confirmed=confirmed,
                people=people,
                actor=actor,
                at=at,
                reason=reason,
            )
        except Refusal as error:
            outcome.refused[report.pk] = str(error)
        else:
            outcome.recorded.append(report.pk)
    return outcome


def _decided_already(decision: WorkReportDecision, person: Person) -> str:
    day = person.site.today(decision.recorded_at)
    words = {"who": decision.decided_by, "day": format_day(day)}
    if decision.confirmed:
        return _("%(who)s confirmed it on %(day)s.") % words
    return _("%(who)s refused it on %(day)s.") % words
