"""Verifying everything that was written down, with its result kept for whoever runs the site."""

from collections.abc import Callable
from datetime import datetime, timedelta

from operations.models import Verification
from records.queries.verification import verify_records

MOST_FAULTS_KEPT = 50
KEPT_FOR = timedelta(days=400)


def verify(*, clock: Callable[[], datetime]) -> Verification | None:
    """Verify the records and keep what came of it; None where another run is at it.

    A run that breaks down is kept as that, and its error goes on to whoever called.
    """
    now = clock()
    if Verification.objects.running(now).exists():
        return None
    Verification.objects.filter(begun_at__lt=now - KEPT_FOR).delete()
    run = Verification.objects.create(begun_at=now)
    try:
        report = verify_records()
    except Exception as error:
        run.ended_at, run.failure = clock(), f"{type(error).__name__}: {error}"[:400]
        run.save(update_fields=["ended_at", "failure"])
        raise
    run.ended_at = clock()
    run.entries, run.signatures = report.entries, report.signatures
    run.compared, run.files = report.compared, report.files
    run.fault_count = report.fault_count
    run.faults = [str(fault) for fault in report.faults[:MOST_FAULTS_KEPT]]
    run.save()
    return run
