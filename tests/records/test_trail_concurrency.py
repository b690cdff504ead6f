from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connections, transaction

from records.models import TrailEntry
from records.queries.verification import verify_records
from records.services.trail import record


@pytest.mark.django_db(transaction=True)
def test_writers_at_the_same_time_make_one_chain():
    """Also when the trail has no entry yet."""

    def write_ten(writer):
        try:
            for n in range(10):
                with transaction.atomic():
                    record(actor=None, act="tool checked", about=("tool", f"{writer}-{n}"))
        finally:
            connections.close_all()

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(write_ten, range(4)))

    assert list(TrailEntry.objects.values_list("number", flat=True)) == list(range(1, 41))
    assert TrailEntry.objects.values("about_id").distinct().count() == 40
    report = verify_records(with_files=False)
    assert (report.entries, report.faults) == (40, [])
