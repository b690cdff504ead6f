"""Two acts on one person and scope at once leave what one of them after the other leaves."""

import pytest
from django.db import connection

from certification.models import StandingSpan
from tests.certification import acts_at_once as acts
from tests.factories import TODAY

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only"),
]


@pytest.fixture
def house(tmp_path):
    return acts.make_house(tmp_path)


@pytest.fixture
def gates(monkeypatch):
    return acts.hold_before_the_first_write(monkeypatch)


def test_no_certificate_is_issued_past_a_restriction_that_it_did_not_see(house, gates):
    scene = acts.scene_for(house, acts.restrict, acts.issue)
    (outcomes, _told), _gate = acts.at_once(gates, scene, acts.restrict, acts.issue)
    assert outcomes == {"restrict": "done", "issue'": "refused"}
    span = StandingSpan.objects.on(TODAY).get(person=scene.person)
    assert (span.standing, span.restriction) == ("certified", "turrets")


@pytest.mark.parametrize("first", acts.ACTS, ids=lambda act: act.__name__)
def test_two_acts_at_once_are_one_after_the_other(first, house, gates):
    """Each act of the list with itself and those behind it, either of them first."""
    wrong = []
    for second in acts.paired_with(first):
        orders = list(dict.fromkeys([(first, second), (second, first)]))
        scenes = [acts.scene_for(house, first, second) for _order in orders]
        in_turn = [
            acts.one_after_the_other(scenes[0], first, second, swap=swap) for swap in (False, True)
        ]
        for scene, (one, other) in zip(scenes, orders, strict=True):
            (outcomes, told), gate = acts.at_once(gates, scene, one, other)
            expected = [
                told_then
                for outcomes_then, told_then in in_turn
                if _by_act(outcomes_then) == _by_act(outcomes)
            ]
            if told not in expected:
                wrong.append((one.__name__, other.__name__, outcomes, gate.both_had_read))
    assert wrong == []


def _by_act(outcomes):
    """Outcomes by the name of the act; of an act beside itself it does not matter which."""
    return sorted((name.rstrip("'"), outcome) for name, outcome in outcomes.items())
