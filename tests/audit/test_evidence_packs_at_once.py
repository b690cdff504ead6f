"""Two at once: one pack asked for by two windows, and one built by two workers."""

from threading import Barrier, Thread

import pytest
from django.db import connection, connections

from audit.models import EvidencePack
from audit.presenters.pack_contents import PackContents
from audit.services import evidence_packs as services
from records.models import TrailEntry
from tests.audit import packs

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only"),
]


def at_once(*acts):
    """Run acts from threads that start together; what each gave back."""
    together, outcomes = Barrier(len(acts)), []

    def run(act):
        try:
            together.wait(timeout=30)
            outcomes.append(act())
        finally:
            connections.close_all()

    threads = [Thread(target=run, args=[act]) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return outcomes


def test_pack_asked_for_and_built_twice_at_once_is_one():
    evidence = packs.make_evidence(photos=1)
    asked = at_once(*[lambda: packs.request(evidence).pk] * 2)
    assert len(asked) == 2
    assert len(set(asked)) == 1

    def build():
        return services.build_pack(
            pack_id=asked[0], clock=lambda: packs.LATER, contents_of=PackContents
        )

    assert sorted(at_once(build, build)) == [False, True]
    pack = EvidencePack.objects.get()
    assert pack.state == "finished"
    assert TrailEntry.objects.filter(act="evidence pack made").count() == 1
