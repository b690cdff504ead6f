"""Two people enter or withdraw the same move in the same instant: one of them does."""

from datetime import timedelta
from threading import Barrier, Thread

import pytest
from django.db import connection, connections
from django.utils import timezone

from people.exceptions import PeopleError
from people.models import Person, Role, SiteMembership, SiteMembershipWithdrawal, SiteRole
from people.services import moves
from tests.factories import make_person, make_site, make_user

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only"),
]


def at_once(act):
    """Run an act twice in threads that start together; what it gave, or its refusal."""
    together, outcomes = Barrier(2), []

    def run():
        try:
            together.wait(timeout=120)
            act()
            outcomes.append("done")
        except PeopleError as error:
            outcomes.append(str(error))
        finally:
            connections.close_all()

    threads = [Thread(target=run) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=300)
    return sorted(outcomes)


def test_a_move_entered_and_withdrawn_twice_at_once_is_so_once():
    here, there = make_site(), make_site("Aldergate", "AL", time_zone="Europe/London")
    person = make_person(here, full_name="Mo Mover")
    keeper = make_user("administrator", site=here)
    now = timezone.now()
    SiteRole.objects.create(user=keeper, site=there, role=Role.ADMINISTRATOR, recorded_at=now)
    day = there.today(now) - timedelta(days=3)

    def enter():
        moves.move_person(
            person=person, site=there, from_day=day, reason="Line 4.", actor=keeper, at=now
        )

    refused, done = at_once(enter)
    assert done == "done"
    assert "already" in refused
    assert SiteMembership.objects.count() == 2
    assert Person.objects.get(pk=person.pk).site == there

    row = SiteMembership.objects.get(site=there)
    refused, done = at_once(
        lambda: moves.withdraw_move(membership=row, reason="Not them.", actor=keeper, at=now)
    )
    assert done == "done"
    assert "withdrawn already" in refused
    assert SiteMembershipWithdrawal.objects.count() == 1
    assert Person.objects.get(pk=person.pk).site == here
