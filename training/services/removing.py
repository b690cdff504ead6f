"""Removing vision tests and work done, once a rule of the site says that they are kept no longer.

What a certificate rests on is no business of this app: whoever calls has left it out.
"""

from collections.abc import Collection
from datetime import datetime

from django.db import transaction

from records.domain.kinds import kind_of
from records.services import removals
from records.services.trail import Actor
from training.models import (
    PracticeRecord,
    PracticeWithdrawal,
    VisionTest,
    VisionTestWithdrawal,
    WorkReport,
    WorkReportDecision,
)


@transaction.atomic
def remove_vision_tests(
    *, tests: Collection[VisionTest], reason: str, actor: Actor, at: datetime
) -> int:
    """Remove vision tests for good; return how many were still there. At most 500 at once."""
    keys = [test.pk for test in tests]
    things = [(kind_of(VisionTest.__name__), str(key)) for key in keys]
    removals.remove(things=things, reason=reason, actor=actor, at=at)
    VisionTestWithdrawal.objects.filter(vision_test__in=keys).delete()
    return VisionTest.objects.filter(pk__in=keys).delete()[0]


@transaction.atomic
def remove_practice(
    *, records: Collection[PracticeRecord], reason: str, actor: Actor, at: datetime
) -> int:
    """Remove work done for good, with the reports of it; return how much was still there.

    At most 500 at once.
    """
    keys = [record.pk for record in records]
    decisions = WorkReportDecision.objects.filter(practice__in=keys)
    reports = list(decisions.values_list("report", flat=True))
    for kind, numbers in ((PracticeRecord, keys), (WorkReport, reports)):
        things = [(kind_of(kind.__name__), str(number)) for number in numbers]
        removals.remove(things=things, reason=reason, actor=actor, at=at)
    decisions.delete()
    WorkReport.objects.filter(pk__in=reports).delete()
    PracticeWithdrawal.objects.filter(practice__in=keys).delete()
    return PracticeRecord.objects.filter(pk__in=keys).delete()[0]


@transaction.atomic
def remove_uncounted_reports(
    *, reports: Collection[WorkReport], reason: str, actor: Actor, at: datetime
) -> int:
    """Remove reports of work that were refused or never decided on; return how many were there.

    At most 500 at once.
    """
    keys = [report.pk for report in reports]
    things = [(kind_of(WorkReport.__name__), str(key)) for key in keys]
    removals.remove(things=things, reason=reason, actor=actor, at=at)
    WorkReportDecision.objects.filter(report__in=keys).delete()
    return WorkReport.objects.filter(pk__in=keys).delete()[0]
