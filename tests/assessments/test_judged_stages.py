"""Everything that a grader has judged is signed on one page, under one proof, or none of it."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection, connections, transaction
from django.test.utils import CaptureQueriesContext

from assessments.models import Board, Grading, StageSigning
from assessments.presenters.judged_stages import stages_page
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements
from records.models import Signature
from tests import factories
from tests.assessments.together import at_once, somebody_waits_for_us
from tests.factories import NOW, PASSWORD
from tests.markup import Markup
from tests.signing import shown_on

pytestmark = pytest.mark.django_db

STAGES = ("prepared", "formed", "soldered", "cleaned")
PAGE = "/sign/"
# What one more board on the page is read by; and what is read and written when it is signed.
READS_A_BOARD = 8
ACTS_A_STAGE = 25
ACTS_A_BOARD = 20


@pytest.fixture
def instructor(client):
    user = factories.make_user("instructor", password=PASSWORD)
    client.force_login(user)
    return user


@pytest.fixture
def exercise():
    factories.make_criteria_set(
        *({"code": f"{stage[0].upper()}-1", "stage": stage} for stage in STAGES),
        {"code": "S-2", "severity": "minor"},
    )
    return factories.make_exercise(stages=STAGES)


def say(grading, place, code, outcome="accept", **seen):
    criterion = grading.criteria_set.criteria.get(code=code)
    judgements.judge(
        grading=Grading.objects.get(pk=grading.pk),
        joint=grading.board.joints.get(position__name=place),
        criterion=criterion,
        outcome=outcome,
        seen=judgements.Circumstances(**seen),
        at=NOW,
    )


def judged(exercise, grader, stages=STAGES):
    board = factories.make_board(exercise=exercise)
    grading = services.start_grading(board=board, grader=grader, at=NOW)
    joints = board_results.joints_that_count(board)
    for stage in stages:
        for joint in joints:
            for criterion in board_results.criteria_for(grading, stage, joint):
                if not judgements.may_go_with_the_rest(criterion):
                    say(grading, joint.position.name, criterion.code)
        judgements.accept_the_rest(
            grading=grading, stage=stage, joints=joints, seen=judgements.Circumstances(), at=NOW
        )
    return grading


def text(response) -> str:
    return Markup(response.content.decode()).replace("\xa0", " ")


def ticked(*pairs):
    return [f"{grading.pk}-{stage}" for grading, stage in pairs]


def signed():
    return sorted(StageSigning.objects.values_list("grading", "stage"))


def test_every_stage_stands_there_in_full(client, instructor, exercise):
    grading = judged(exercise, instructor)
    say(grading, "E02", "S-1", "reject", note="A ball", magnification=10)
    factories.make_photo(grading.board, stage="soldered", original_name="top.jpg")
    page = text(client.get(PAGE))
    assert page.count(grading.board.person.full_name) == 4
    assert "4 stages, 1 board" in page
    assert "<b>E02</b>" in page
    assert "<q>A ball</q>" in page
    assert "3 joints, with the board in hand at 10×" in page
    assert "1 photograph" in page
    assert page.count("checked") == 4
    assert f'href="/boards/{grading.board.number}/grade/?stage=soldered"' in page


def test_one_password_signs_a_class_day_by_a_signature_each(client, instructor, exercise):
    gradings = [judged(exercise, instructor) for _board in range(3)]
    shown = shown_on(client.get(PAGE))
    assert len(shown) == 12
    sign = ticked(*((grading, stage) for grading in gradings for stage in STAGES))
    answer = client.post(PAGE, shown | {"sign": sign, "password": PASSWORD}, follow=True)
    assert "Signed: 12 stages." in text(answer)
    assert "Nothing waits for your signature" in text(answer)
    assert Signature.objects.count() == 12
    assert StageSigning.objects.values("signature").distinct().count() == 12
    for grading in gradings:
        grading.board.refresh_from_db()
        assert grading.board.outcome.complete


def test_what_is_not_ticked_is_not_signed(client, instructor, exercise):
    one, other = judged(exercise, instructor), judged(exercise, instructor)
    shown = shown_on(client.get(PAGE))
    sign = ticked((one, "prepared"), (one, "formed"), (other, "prepared"))
    answer = client.post(PAGE, shown | {"sign": sign, "password": PASSWORD}, follow=True)
    assert signed() == sorted([(one.pk, "prepared"), (one.pk, "formed"), (other.pk, "prepared")])
    assert text(answer).count('name="sign"') == 5


def test_what_changed_is_told_and_not_ticked_and_nothing_at_all_is_signed(
    client, instructor, exercise
):
    one, other = judged(exercise, instructor), judged(exercise, instructor)
    shown = shown_on(client.get(PAGE))
    say(other, "E02", "S-1", "reject", note="A ball")
    sign = ticked(*((grading, stage) for grading in (one, other) for stage in STAGES))
    refused = client.post(PAGE, shown | {"sign": sign, "password": "not mine"})
    page = text(refused)
    assert refused.status_code == 422
    assert "What you were shown has changed since, so nothing was signed." in page
    assert "That is not your password" not in page
    assert "so not ticked." in page
    assert "<b>reject, by eye, board in hand, “A ball”</b>" in page
    assert page.count("checked") == 7
    assert not StageSigning.objects.exists()
    again = client.post(PAGE, shown_on(refused) | {"sign": sign, "password": PASSWORD})
    assert again.status_code == 302
    assert len(signed()) == 8


def test_what_changed_beside_what_is_ticked_stops_nothing(client, instructor, exercise):
    one, other = judged(exercise, instructor), judged(exercise, instructor)
    shown = shown_on(client.get(PAGE))
    say(other, "E02", "S-1", "reject")
    sign = ticked(*((one, stage) for stage in STAGES))
    client.post(PAGE, shown | {"sign": sign, "password": PASSWORD})
    assert signed() == sorted((one.pk, stage) for stage in STAGES)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        pytest.param({"sign": []}, "Tick what you sign.", id="nothing ticked"),
        pytest.param({"password": ""}, "required", id="no password"),
        pytest.param({"password": "no"}, "That is not your password", id="a wrong password"),
        pytest.param({"sign": ["0-formed"]}, "is signed already, or is not yours", id="no such"),
    ],
)
def test_a_list_that_is_not_whole_signs_nothing(client, instructor, exercise, change, says):
    grading = judged(exercise, instructor)
    shown = shown_on(client.get(PAGE))
    fields = {"sign": ticked((grading, "prepared")), "password": PASSWORD} | change
    refused = client.post(PAGE, shown | fields)
    assert refused.status_code == 422
    assert says in text(refused)
    assert not StageSigning.objects.exists()


def test_a_list_without_what_it_showed_signs_nothing(client, instructor, exercise):
    grading = judged(exercise, instructor)
    refused = client.post(PAGE, {"sign": ticked((grading, "prepared")), "password": PASSWORD})
    assert refused.status_code == 422
    assert "This page came without what it showed" in text(refused)
    assert not StageSigning.objects.exists()


def test_a_stage_without_the_one_before_it_is_refused_with_its_board(client, instructor, exercise):
    one, other = judged(exercise, instructor), judged(exercise, instructor)
    shown = shown_on(client.get(PAGE))
    sign = ticked((one, "prepared"), (other, "formed"))
    refused = client.post(PAGE, shown | {"sign": sign, "password": PASSWORD})
    assert f"{other.board.number}, formed: The stage “prepared” comes first" in text(refused)
    assert not StageSigning.objects.exists()
    assert text(refused).count("checked") == 2


def test_pressed_twice_signs_once_and_says_so(client, instructor, exercise):
    grading = judged(exercise, instructor)
    shown = shown_on(client.get(PAGE))
    fields = shown | {"sign": ticked((grading, "prepared")), "password": PASSWORD}
    assert client.post(PAGE, fields).status_code == 302
    again = client.post(PAGE, fields)
    assert "is signed already, or is not yours to sign any more" in text(again)
    assert signed() == [(grading.pk, "prepared")]


def test_what_cannot_be_signed_yet_says_why_and_has_no_tick(client, instructor, exercise):
    grading = judged(exercise, instructor, stages=("prepared", "soldered"))
    page = text(client.get(PAGE))
    assert page.count('name="sign"') == 1
    assert "Cannot be signed yet: the stage “formed” comes first and is not judged." in page
    say(grading, "E01", "F-1")
    page = text(client.get(PAGE))
    assert "Cannot be signed yet: 2 judgements are open. E02 F-1, E03 F-1." in page
    sign = ticked((grading, "soldered"))
    refused = client.post(PAGE, {"sign": sign, "password": PASSWORD})
    assert refused.status_code == 422
    assert not StageSigning.objects.exists()


def test_nothing_of_anybody_else_stands_there(client, instructor, exercise):
    judged(exercise, factories.make_user("instructor"))
    assert "Nothing waits for your signature" in text(client.get(PAGE))


def test_who_was_an_instructor_yesterday_signs_nothing(client, instructor, exercise):
    grading = judged(exercise, instructor)
    shown = shown_on(client.get(PAGE))
    instructor.roles.all().delete()
    sign = ticked((grading, "prepared"))
    assert client.post(PAGE, shown | {"sign": sign, "password": PASSWORD}).status_code == 403
    assert not StageSigning.objects.exists()


def test_a_cancelled_board_is_not_listed(client, instructor, exercise):
    grading = judged(exercise, instructor)
    Board.objects.filter(pk=grading.board_id).update(cancelled_at=NOW)
    assert "Nothing waits for your signature" in text(client.get(PAGE))


def test_more_than_a_page_lists_says_so(client, instructor, exercise, monkeypatch):
    monkeypatch.setattr("assessments.presenters.judged_stages.MOST_STAGES", 3)
    judged(exercise, instructor)
    page = text(client.get(PAGE))
    assert page.count('name="sign"') == 3
    assert "The first 3 stages. Sign them, and those that follow are listed." in page


def test_the_queries_of_the_page_grow_with_its_boards_by_few(client, instructor, exercise):
    def count():
        with CaptureQueriesContext(connection) as asked:
            assert client.get(PAGE).status_code == 200
        return len(asked)

    judged(exercise, instructor)
    one = count()
    judged(exercise, instructor)
    judged(exercise, instructor)
    more = count()
    assert more - one <= 2 * READS_A_BOARD


def test_signing_reads_what_a_board_has_in_common_once(client, instructor, exercise):
    def count(*gradings):
        sent = shown_on(client.get(PAGE)) | {"password": PASSWORD}
        sent["sign"] = ticked(*((grading, stage) for grading in gradings for stage in STAGES))
        with CaptureQueriesContext(connection) as asked:
            assert client.post(PAGE, sent).status_code == 302
        return len(asked)

    one = count(judged(exercise, instructor))
    three = count(*(judged(exercise, instructor) for _board in range(3)))
    assert three - one <= 2 * (len(STAGES) * ACTS_A_STAGE + ACTS_A_BOARD)


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
class TestTwoAtOnce:
    def to_sign(self, user, wanted=None):
        page = stages_page(user, NOW)
        return [
            services.StageToSign(row.judged.grading, row.judged.stage.value, row.shown.digest)
            for row in page.rows
            if wanted is None or row.board.pk in wanted
        ]

    def sign(self, user, stages):
        return services.sign_stages(stages=stages, signer=user, proof="password", at=NOW)

    def test_two_lists_in_other_orders_wait_for_no_ring(self, instructor, exercise):
        for _board in range(3):
            judged(exercise, instructor)
        one = self.to_sign(instructor)
        other = self.to_sign(instructor)[::-1]
        outcomes = at_once(lambda: self.sign(instructor, one), lambda: self.sign(instructor, other))
        assert sorted(isinstance(outcome, list) for outcome in outcomes) == [False, True]
        assert StageSigning.objects.count() == 12

    def test_a_judgement_made_while_the_list_waits_has_nothing_signed(self, instructor, exercise):
        one, other = judged(exercise, instructor), judged(exercise, instructor)
        stages = self.to_sign(instructor)

        def act():
            try:
                return self.sign(instructor, stages)
            except Exception as error:
                return error
            finally:
                connections.close_all()

        with ThreadPoolExecutor(1) as pool:
            with transaction.atomic():
                Board.objects.select_for_update().get(pk=other.board_id)
                waiting = pool.submit(act)
                while not somebody_waits_for_us():
                    assert not waiting.done(), waiting.result()
                say(other, "E02", "S-1", "reject")
            assert type(waiting.result(30)).__name__ == "ShownOtherwise"
        assert one.pk
        assert not StageSigning.objects.exists()
