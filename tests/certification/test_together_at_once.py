"""Two who propose or decide on the same list at once make each proposal or certificate once."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection, connections

from certification.models import Certificate, Proposal
from certification.presenters import candidates_page
from certification.queries.candidates import passed_lately
from certification.services.acts import Act
from certification.services.proposals import Ticked, issue_together, propose_together
from people.queries.site_days import Days
from tests.factories import (
    NOW,
    TODAY,
    make_exercise,
    make_passed_board,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only"),
]


@pytest.fixture
def candidates():
    exercise = make_exercise()
    make_revision(make_scope(), exercise=exercise)
    grader = make_user("instructor")
    for _n in range(6):
        make_passed_board(make_person(), exercise, grader=grader)
    found = passed_lately({make_site().pk}, Days(TODAY), NOW)
    rows = candidates_page.build(found).ready
    return [Ticked(row.candidate, row.shown) for row in rows]


def at_once(act, *lists):
    """Have each list worked through by a thread of its own, all begun together."""
    ready = Barrier(len(lists))

    def work(one):
        try:
            ready.wait(120)
            return act(one)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(lists)) as pool:
        return list(pool.map(work, lists))


def test_two_instructors_propose_each_of_a_class_once(candidates):
    actors = iter([make_user("instructor"), make_user("instructor")])

    outcomes = at_once(
        lambda ticked: propose_together(ticked, act=Act(next(actors), NOW, "password")),
        candidates,
        candidates[::-1],
    )

    assert Proposal.objects.count() == len(candidates)
    assert sum(len(one.done) for one in outcomes) == len(candidates)
    assert sum(len(one.stayed) for one in outcomes) == len(candidates)


def test_two_who_decide_issue_each_certificate_once(candidates):
    proposed = propose_together(candidates, act=Act(make_user("instructor"), NOW, "password"))
    waiting = [Ticked(proposal, None) for proposal in proposed.done]
    actors = iter([make_user("quality"), make_user("quality")])

    outcomes = at_once(
        lambda ticked: issue_together(ticked, act=Act(next(actors), NOW, "password")),
        waiting,
        waiting[::-1],
    )

    assert Certificate.objects.count() == len(candidates)
    assert len(set(Certificate.objects.values_list("number", flat=True))) == len(candidates)
    assert sum(len(one.done) for one in outcomes) == len(candidates)
    assert {why for one in outcomes for _name, why in one.stayed} == {
        "This proposal was decided already: issued."
    }
