"""A work log of the scenario, and the check of it: most rows in order, some not."""

import csv
import io
from datetime import timedelta

from django.utils import timezone

from audit.services import work_log_checks
from certification.models import StandingSpan
from people.models import Role, Site, Stamp
from training.models import PracticeRecord

from .people import Stage

DAYS = 75
MOST_IN_ORDER, NOT_IN_ORDER = 160, 9
HEADING = ["row", "employee_number", "stamp", "scope", "worked_on", "work_order"]


def check_a_log(stage: Stage) -> None:
    """Write down what was done lately and some work that should not have been, and check it."""
    quality = stage.users["10003"]
    sites = Site.objects.filter(pk__in=quality.sites_as(Role.QUALITY))
    stream = io.StringIO()
    rows = csv.writer(stream)
    rows.writerow(HEADING)
    for number, cells in enumerate(_work(stage, sites), start=1):
        rows.writerow([number, *cells, f"W-{4100 + number // 6}"])
    check = work_log_checks.request_check(
        actor=quality,
        file=io.BytesIO(stream.getvalue().encode()),
        name=f"travellers-{stage.today - timedelta(days=1)}.csv",
        at=stage.at(0),
        zone=stage.sites["CA"].zone,
    )
    work_log_checks.run_check(check_id=check.pk, clock=timezone.now)


def _work(stage: Stage, sites) -> list[tuple[str, str, str, str]]:
    """Number, stamp, scope and day of each row, in order of days; two rows make no sense."""
    since = stage.today - timedelta(days=DAYS)
    marks = dict(
        Stamp.objects.filter(returned_on=None, person__site__in=sites).values_list("person", "mark")
    )
    done = (
        PracticeRecord.objects.not_withdrawn()
        .filter(person__site__in=sites, performed_on__gte=since, performed_on__lt=stage.today)
        .select_related("person")
        .order_by("-performed_on", "pk")[:MOST_IN_ORDER]
    )
    rows = [
        ("", marks[practice.person_id], practice.scope_code, practice.performed_on)
        if index % 3 == 0 and practice.person_id in marks
        else (practice.person.employee_number, "", practice.scope_code, practice.performed_on)
        for index, practice in enumerate(done)
    ]
    yesterday = stage.today - timedelta(days=1)
    not_certified = (
        StandingSpan.objects.on(yesterday)
        .filter(person__site__in=sites)
        .exclude(standing="certified")
        .select_related("person", "scope")
        .order_by("person__employee_number", "scope__code")[:NOT_IN_ORDER]
    )
    rows += [
        (span.person.employee_number, "", span.scope.code, yesterday - timedelta(days=index % 4))
        for index, span in enumerate(not_certified)
    ]
    rows.sort(key=lambda row: row[3])
    number, _stamp, scope, day = rows[-1]
    rows += [("", "999", scope, day), (number or "10101", "", "no-such-scope", day)]
    return [(number, mark, scope, day.isoformat()) for number, mark, scope, day in rows]
