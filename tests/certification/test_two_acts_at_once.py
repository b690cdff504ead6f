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


@pytest.fixture(scope="module")
def made():
    """The scenes of this module, once its first test has made them."""
    return []


@pytest.fixture
def scenes(made, tmp_path_factory):
    if made:
        made[0].put_back()
    else:
        made.append(acts.Scenes(tmp_path_factory.mktemp("bundles")))
    return made[0]


@pytest.fixture
def hands(monkeypatch):
    hands = acts.hold_before_the_first_write(monkeypatch)
    yield hands
    hands.close()


def test_no_certificate_is_issued_past_a_restriction_that_it_did_not_see(scenes, hands):
    scene = scenes.scene_for(acts.restrict, acts.issue)
    (outcomes, _told), _gate = acts.at_once(hands, scene, acts.restrict, acts.issue)
    assert outcomes == {"restrict": "done", "issue'": "refused"}
    span = StandingSpan.objects.on(TODAY).get(person=scene.person)
    assert (span.standing, span.restriction) == ("certified", "turrets")


@pytest.mark.parametrize("first", acts.ACTS, ids=lambda act: act.__name__)
def test_two_acts_at_once_are_one_after_the_other(first, scenes, hands):
    """Each act of the list with itself and those behind it, either of them first."""
    wrong = []
    for second in acts.paired_with(first):
        scene = scenes.scene_for(first, second)
        in_turn = acts.InTurn(scene, first, second)
        for one, other in dict.fromkeys([(first, second), (second, first)]):
            found, gate = acts.at_once(hands, scene, one, other)
            scenes.put_back()
            if not in_turn.leaves(found):
                wrong.append((one.__name__, other.__name__, found[0], gate.both_had_read))
    assert wrong == []
