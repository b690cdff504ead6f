"""Two acts at once: one list taken in from two windows, and one number in two lists."""

from threading import Barrier, Thread

import pytest
from django.db import connection, connections

from audit.exceptions import ListChanged, ListTakenIn
from audit.queries.list_bringers import bringer_for
from audit.services import people_lists
from people.models import Person, Role
from tests.audit.test_people_lists import bring, planned
from tests.factories import NOW, make_site, make_user

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only"),
]


def at_once(user, *lists):
    """Take lists in from threads that start together; what came of each."""
    together, outcomes = Barrier(len(lists)), []
    shown = {kept.pk: planned(kept, user).digest() for kept in lists}
    bringer = bringer_for(user)

    def run(kept):
        try:
            together.wait(timeout=120)
            people_lists.take_in(
                people_list=kept, bringer=bringer, shown=shown[kept.pk], sign_ins=True, at=NOW
            )
            outcomes.append("done")
        except (ListChanged, ListTakenIn) as error:
            outcomes.append(type(error).__name__)
        finally:
            connections.close_all()

    threads = [Thread(target=run, args=[kept]) for kept in lists]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=300)
    return sorted(outcomes)


@pytest.fixture
def user():
    return make_user(Role.ADMINISTRATOR, Role.QUALITY, site=make_site())


def test_list_taken_in_twice_at_once_is_taken_in_once(user):
    kept = bring(user, "Number;Name\n7001;Ada\n7002;Bo\n")
    assert at_once(user, kept, kept) == ["ListTakenIn", "done"]
    assert Person.objects.filter(employee_number__startswith="700").count() == 2


def test_number_that_two_lists_bring_at_once_is_given_once(user):
    lists = [bring(user, f"Number;Name\n7001;{name}\n") for name in ("Ada", "Eve")]
    assert at_once(user, *lists) == ["ListChanged", "done"]
    assert Person.objects.filter(employee_number="7001").count() == 1
