"""Two acts at once: one list taken in from two windows, and one number in two lists."""

from threading import Barrier, Thread
from time import sleep

import pytest
from django.db import connection, connections

from audit.exceptions import ListChanged, ListTakenIn
from audit.models import PeopleList
from audit.queries import list_plan
from audit.queries.list_bringers import bringer_for
from audit.services import list_steps, people_lists
from people.models import Person, Role, User
from records.models import TrailEntry
from tests.audit.test_people_lists import bring, planned
from tests.factories import NOW, make_revision, make_scope, make_site, make_user

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


HEADINGS = "Number;Name;Scope;Cert. No.;Issued;Scheme\n"


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        ("7001;Ada;;;;", "7001;Eve;;;;"),
        (
            "7001;Ada;TERM-OP;X-1;2026-03-01;HS rev. 1",
            "7002;Eve;TERM-OP;X-1;2026-03-01;HS rev. 1",
        ),
    ],
    ids=["number of a person", "number of a certificate"],
)
def test_number_that_another_list_brought_since_the_last_plan_says_that_this_one_changed(
    user, monkeypatch, ours, theirs
):
    make_revision(make_scope(code="TERM-OP"), name="HS rev. 1", vision_months=0)
    kept, other = (bring(user, f"{HEADINGS}{row}\n", recorded="now") for row in (ours, theirs))
    write_plan, outcomes = people_lists.write_plan, []

    def overtaken(*given, **named):
        monkeypatch.setattr(people_lists, "write_plan", write_plan)
        outcomes.extend(at_once(user, other))
        return write_plan(*given, **named)

    monkeypatch.setattr(people_lists, "write_plan", overtaken)
    shown = planned(kept, user).digest()
    with pytest.raises(ListChanged):
        people_lists.take_in(
            people_list=kept, bringer=bringer_for(user), shown=shown, sign_ins=True, at=NOW
        )
    assert outcomes == ["done"]
    assert not Person.objects.filter(full_name="Ada").exists()


def test_two_workers_take_two_long_lists_in_at_once_and_each_person_once(user, monkeypatch):
    monkeypatch.setattr(list_plan, "MOST_AT_ONCE", 2)
    monkeypatch.setattr(list_steps, "PEOPLE_A_STEP", 3)
    rows = [f"70{n:02};Person {n}\n" for n in range(12)]
    lists = [bring(user, "Number;Name\n" + "".join(some)) for some in (rows[:9], rows[:3:-1])]
    for kept in lists:
        shown = planned(kept, user).digest()
        bringer = bringer_for(user)
        people_lists.take_in(people_list=kept, bringer=bringer, shown=shown, sign_ins=True, at=NOW)
    together = Barrier(4)

    def work(kept):
        try:
            together.wait(timeout=120)
            for _try in range(50):  # Whoever finds the list in other hands comes again.
                list_steps.work_on(kept.pk, clock=lambda: NOW, pause=lambda _s: None)
                if PeopleList.objects.filter(pk=kept.pk, begun_at=None).exists():
                    break
                sleep(0.1)
        finally:
            connections.close_all()

    threads = [Thread(target=work, args=[kept]) for kept in lists * 2]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=300)
    for kept in lists:
        kept.refresh_from_db()
        assert kept.taken_in_at == NOW
    assert Person.objects.filter(employee_number__startswith="70").count() == 12
    assert User.objects.filter(employee_number__startswith="70").count() == 12
    assert TrailEntry.objects.filter(act="person enrolled").count() == 12
    made = [kept.result["counts"].get("enrolled", 0) for kept in lists]
    # Who was entered by one list meanwhile has changed for the other, and is named there.
    assert sum(made) == 12
    assert sum(len(kept.result["not_done"]) for kept in lists) == 17 - 12
