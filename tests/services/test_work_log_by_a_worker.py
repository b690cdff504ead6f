"""A real worker checks work logs, whatever happens to messages and workers."""

from datetime import timedelta
from io import BytesIO

import pytest
from django.utils import timezone

from audit.models import WorkLogCheck
from audit.models.work_log import CLAIM_LAPSES_AFTER
from audit.services import work_log_checks
from tests.factories import make_scope, make_user
from tests.services.processes import wait_until

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]


def request_check(rows=20_000):
    user, scope = make_user("quality"), make_scope()
    number = user.person.employee_number
    lines = [f"{number},{scope.code},2026-01-{1 + n % 28:02d}" for n in range(rows)]
    return work_log_checks.request_check(
        actor=user,
        file=BytesIO("\n".join(["employee_number,scope,worked_on", *lines]).encode()),
        name="log.csv",
        at=timezone.now(),
        zone=user.person.site.zone,
    )


def is_finished(check):
    check = WorkLogCheck.objects.get(pk=check.pk)
    return check.state == WorkLogCheck.State.FINISHED and check.counts == {
        "never_certified": check.rows
    }


def test_a_message_wakes_the_worker(start_worker, send):
    check = request_check()
    start_worker()
    send("work_logs.check", check.pk)
    wait_until(lambda: is_finished(check))


def test_what_a_lost_message_or_a_dead_worker_left_is_run_by_the_next_round(
    start_worker, send, lose_messages
):
    check, claimed = request_check(), request_check(10)
    WorkLogCheck.objects.claim(
        claimed.pk, "a worker that died", timezone.now() - CLAIM_LAPSES_AFTER - timedelta(seconds=1)
    )
    lose_messages()
    start_worker()
    send("work_logs.check_due")
    wait_until(lambda: is_finished(check) and is_finished(claimed))
