"""Two changes at the same moment leave spans that know of both."""

from concurrent.futures import ThreadPoolExecutor
from threading import Event

import pytest
from django.db import connections, transaction

from certification.models import StandingSpan
from certification.queries import standing_on_day
from certification.services import standing
from tests.certification.spans_walk import spans_of_the_facts, spans_stored
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_revision,
    make_scope,
    make_user,
)
from training.services import facts


@pytest.mark.django_db(transaction=True)
def test_rebuilding_does_not_miss_a_fact_that_is_being_written(monkeypatch):
    """As an import, or rebuilding all, does for minutes while work goes on."""
    scope = make_scope()
    certificate = make_certificate(scope=scope, revision=make_revision(scope, vision_months=12))
    person, quality = certificate.person, make_user("quality")
    has_read, may_write = Event(), Event()
    read = standing_on_day.facts_for_many

    def read_and_dawdle(person_ids, scope_id=None):
        found = read(person_ids, scope_id)
        if not has_read.is_set():
            has_read.set()
            may_write.wait(timeout=2)  # Whoever keeps the other waiting waits in vain.
        return found

    monkeypatch.setattr(standing, "facts_for_many", read_and_dawdle)

    def in_its_own_connection(work):
        try:
            with transaction.atomic():
                work()
        finally:
            connections.close_all()

    def record_a_test():
        has_read.wait(timeout=120)
        in_its_own_connection(
            lambda: facts.record_vision_test(
                person=person, tested_on=TODAY, passed=True, actor=quality, at=NOW
            )
        )
        may_write.set()

    with ThreadPoolExecutor(2) as pool:
        rebuilding = pool.submit(
            in_its_own_connection, lambda: standing.rebuild_people([person.pk])
        )
        recording = pool.submit(record_a_test)
        rebuilding.result(timeout=300)
        recording.result(timeout=300)

    assert spans_stored() == spans_of_the_facts()
    assert StandingSpan.objects.on(TODAY).get().standing == "certified"
