"""Evidence packs of which a board is judged, or is to be, before they are put together."""

from datetime import timedelta

import pytest
from django.db import connection

from assessments.services.reading_requests import ask_for_another_reading
from audit.models import EvidencePack
from audit.presenters.pack_contents import PackContents
from audit.services import evidence_packs as services
from people.models import User
from records.models import TrailEntry
from tests import factories
from tests.assessments import several
from tests.assessments.conftest import standing_for_everybody
from tests.assessments.together import wait_behind
from tests.audit import packs
from tests.audit.test_evidence_packs import head_of, rows_of, verify

pytestmark = pytest.mark.django_db
THEN = packs.AT + timedelta(seconds=30)


@pytest.fixture(autouse=True)
def _everybody_has_standing():
    with standing_for_everybody():
        yield


@pytest.fixture
def evidence():
    return packs.make_evidence(photos=1)


def ask_for_regrading(board):
    person = board.person
    trainee = User.objects.create(employee_number=person.employee_number, person=person)
    factories.make_user("instructor", site=person.site)
    ask_for_another_reading(board=board, trainee=trainee, reason="E01 is fine.", at=THEN)


def judged_by_the_first_of_two(evidence):
    """A board of the same person that one of its two graders has signed; and the other."""
    first, second = (factories.make_user("instructor", site=evidence.person.site) for _ in "12")
    exercise = factories.make_exercise(stages=("formed", "soldered"), graders=2)
    board = factories.make_board(evidence.person, exercise, recorded_at=packs.NOW)
    several.make_criteria()
    several.read(board, first, ("E02", "F-1"))
    return board, second


def build(pack, act, tmp_path):
    """Put a pack together, with an act once its tables are written and its trail is not."""
    acts = [act]

    class Meanwhile(PackContents):
        def _write_trail(self, target):
            if acts:
                acts.pop()()
            super()._write_trail(target)

    services.build_pack(
        pack_id=pack.pk, clock=lambda: packs.LATER, contents_of=Meanwhile, round_lasts=None
    )
    pack.refresh_from_db()
    assert (pack.state, acts) == ("finished", [])
    return packs.unpack(pack, tmp_path)


def boards_told(folder):
    told = {row["board"] for row in rows_of(folder, "boards") if row["judgements_told"] == "true"}
    assert {row["board"] for row in rows_of(folder, "judgements")} == told
    return told


def test_regrading_asked_for_meanwhile_closes_the_board(evidence, tmp_path):
    pack = packs.request(evidence, person=evidence.person)

    folder = build(pack, lambda: ask_for_regrading(evidence.board), tmp_path)

    code, said = verify(folder, head_of(pack), pack.seal)
    assert code == 0, said
    assert boards_told(folder) == set()
    assert TrailEntry.objects.filter(act="evidence pack begun anew").get() == pack.head
    page = (folder / "index.html").read_text()
    assert "or the judging of one of its boards went on" in page


def test_regrading_answered_meanwhile_opens_the_board(evidence, tmp_path):
    ask_for_regrading(evidence.board)
    pack = packs.request(evidence, person=evidence.person)
    other = factories.make_user("instructor", site=evidence.person.site)

    folder = build(pack, lambda: several.read(evidence.board, other, at=THEN), tmp_path)

    code, said = verify(folder, head_of(pack), pack.seal)
    assert code == 0, said
    assert boards_told(folder) == {evidence.board.number}
    assert {row["kind"] for row in rows_of(folder, "gradings")} == {"first", "another"}


def test_second_grader_who_signs_meanwhile_opens_the_board(evidence, tmp_path):
    board, second = judged_by_the_first_of_two(evidence)
    pack = packs.request(evidence, person=evidence.person)

    folder = build(pack, lambda: several.read(board, second, ("E02", "F-1"), at=THEN), tmp_path)

    code, said = verify(folder, head_of(pack), pack.seal)
    assert code == 0, said
    assert boards_told(folder) == {evidence.board.number, board.number}


def test_what_is_judged_of_other_boards_leaves_the_pack_as_it_is(evidence, tmp_path):
    pack = packs.request(evidence, certificate=evidence.certificate)
    other, _photos = packs.judged_board(evidence.person, photos=0)

    build(pack, lambda: ask_for_regrading(other), tmp_path)

    assert not pack.is_begun_anew


def test_regrading_asked_for_between_two_rounds_has_it_begun_anew(evidence, tmp_path):
    pack = packs.request(evidence, person=evidence.person)
    services.build_pack(
        pack_id=pack.pk,
        clock=lambda: packs.LATER,
        contents_of=PackContents,
        round_lasts=timedelta(microseconds=-1),
    )
    old = services.work_folder(pack)
    ask_for_regrading(evidence.board)

    pack = packs.build(EvidencePack.objects.get(pk=pack.pk))

    folder = packs.unpack(pack, tmp_path)
    assert verify(folder, head_of(pack), pack.seal)[0] == 0
    assert pack.is_begun_anew
    assert not old.exists()


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_regrading_that_is_just_being_asked_for_is_waited_for(evidence, tmp_path):
    pack = packs.request(evidence, person=evidence.person)

    wait_behind(lambda: ask_for_regrading(evidence.board), lambda: packs.build(pack))

    pack.refresh_from_db()
    assert pack.is_begun_anew
    assert boards_told(packs.unpack(pack, tmp_path)) == set()
