"""Signing a stage, the result of a board, and correcting a grading, as pages."""

from decimal import Decimal

import pytest
from django.urls import reverse

from assessments.models import Grading, Judgement, StageSigning
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements
from tests import factories
from tests.assessments import several
from tests.factories import NOW, PASSWORD
from tests.markup import Markup
from tests.signing import send_as_shown

pytestmark = pytest.mark.django_db


@pytest.fixture
def instructor(client):
    user = factories.make_user("instructor", password=PASSWORD)
    client.force_login(user)
    return user


@pytest.fixture
def board():
    factories.make_criteria_set(
        {
            "code": "S-1",
            "severity": "critical",
            "demerits": 40,
            "texts": {
                "en": {
                    "title": "Wetting",
                    "text": "Runs out flat.",
                    "reject": "Stands in a ball.",
                    "advice": "Heat the post first.",
                }
            },
        },
        {"code": "S-2", "how": "measured", "low": 180, "high": 270, "unit": "deg"},
        {"code": "S-3", "severity": "minor", "demerits": 5},
        {"code": "S-9", "severity": "minor", "demerits": 5, "of": "board"},
    )
    return factories.make_board(exercise=factories.make_exercise(allowed_rejects=1, pass_mark=80))


def address(board, name, *more):
    return reverse(f"assessments:{name}", args=[board.number, *more])


def text(response) -> str:
    return Markup(response.content.decode()).replace("\xa0", " ")


def say(grading, place, code, outcome, **seen):
    joint = grading.board.joints.get(position__name=place) if place else None
    judgements.judge(
        grading=grading,
        criterion=grading.criteria_set.criteria.get(code=code),
        joint=joint,
        outcome=outcome,
        seen=judgements.Circumstances(**seen),
        at=NOW,
    )


def judged(board, grader):
    """A reading with everything accepted, for a test to change and to sign."""
    grading = services.start_grading(board=board, grader=grader, at=NOW)
    for joint in [*board_results.joints_that_count(board), None]:
        for criterion in board_results.criteria_for(grading, "soldered", joint):
            reason = several.REASON if criterion.is_measured else ""
            place = joint.position.name if joint else None
            say(grading, place, criterion.code, "accept", by_eye_because=reason)
    return grading


def signed(grading):
    services.sign_stage(
        grading=grading, stage="soldered", signer=grading.grader, proof="password", at=NOW
    )
    return grading


def sign(client, board, password=PASSWORD, stage="soldered"):
    return send_as_shown(client, address(board, "stage_sign", stage), {"password": password})


# Signing


def test_whoever_signs_sees_every_reject_in_words_first(client, instructor, board):
    grading = judged(board, instructor)
    say(grading, "E02", "S-1", "reject", note="A ball at the back")
    say(grading, None, "S-9", "reject")
    told = text(client.get(address(board, "stage_sign", "soldered")))
    assert "10 judgements" in told
    assert "Wetting <small>S-1, critical, 40 demerits</small><q>A ball at the back</q>" in told
    assert told.index("<b>E02</b>") < told.index("<b>Whole board</b>")
    assert f"{instructor.get_full_name()} judged this stage against the criteria." in told


def test_how_many_were_accepted_with_the_rest_is_told(client, instructor, board):
    grading = judged(board, instructor)
    joint = board.joints.first()
    Judgement.objects.filter(joint=joint, criterion__code="S-3").delete()
    judgements.accept_the_rest(
        grading=grading, stage="soldered", joints=[joint], seen=judgements.Circumstances(), at=NOW
    )
    told = text(client.get(address(board, "stage_sign", "soldered")))
    assert "1 of them accepted with the rest" in told


def test_a_wrong_password_signs_nothing_and_says_so(client, instructor, board):
    judged(board, instructor)
    response = sign(client, board, "not it")
    assert response.status_code == 422
    assert "That is not your password, so nothing was signed." in text(response)
    assert not StageSigning.objects.exists()
    assert sign(client, board, "").status_code == 422
    assert not StageSigning.objects.exists()


def test_the_right_password_signs_and_leads_to_the_result(client, instructor, board):
    judged(board, instructor)
    response = sign(client, board)
    assert response.url == address(board, "board_result")
    signing = StageSigning.objects.get()
    assert signing.signature.printed_name == instructor.get_full_name()
    assert signing.signature.proof == "password"
    assert "stage “soldered”" in text(client.get(response.url))
    board.refresh_from_db()
    assert board.outcome.passed is True


def test_with_another_stage_to_sign_one_goes_on_grading(client, instructor):
    factories.make_criteria_set({"code": "S"}, {"code": "C", "stage": "cleaned"})
    board = factories.make_board(exercise=factories.make_exercise(stages=("soldered", "cleaned")))
    judged(board, instructor)
    assert sign(client, board).url == address(board, "board_grade")


def test_a_stage_before_which_another_is_not_signed_waits_and_says_for_which(client, instructor):
    factories.make_criteria_set({"code": "S"}, {"code": "F", "stage": "formed"})
    board = factories.make_board(exercise=factories.make_exercise(stages=("formed", "soldered")))
    judged(board, instructor)
    grade = address(board, "board_grade")
    screen = text(client.get(grade, {"stage": "soldered"}))
    assert "“formed” is signed before this stage." in screen
    assert 'id="go-sign"' not in screen
    told = text(client.get(address(board, "stage_sign", "soldered")))
    assert "The stage “formed” comes first and is not signed yet." in told
    assert f'href="{grade}?stage=formed"' in told
    assert '<button class="btn btn-primary" disabled data-when-saved>' in told
    response = sign(client, board)
    assert response.status_code == 422
    assert "The stage “formed” comes first and is not signed yet." in text(response)
    assert not StageSigning.objects.exists()


def test_an_open_stage_is_not_signed_and_says_what_is_open(client, instructor, board):
    grading = judged(board, instructor)
    Judgement.objects.filter(grading=grading, criterion__code="S-3").delete()
    told = text(client.get(address(board, "stage_sign", "soldered")))
    assert "Some criteria are still open." in told
    assert '<button class="btn btn-primary" disabled data-when-saved>' in told
    response = sign(client, board)
    assert response.status_code == 422
    assert "Still open: E01 S-3, E02 S-3, E03 S-3." in text(response)
    assert not StageSigning.objects.exists()


def test_a_missing_joint_is_named_before_signing(client, instructor, board):
    board.joints.filter(position__name="E02").delete()
    judged(board, instructor)
    assert "Missing joints: E02." in text(client.get(address(board, "stage_sign", "soldered")))
    assert "E02" in text(sign(client, board))


@pytest.mark.parametrize("stage", ["baked", "cleaned"])
def test_a_stage_that_is_not_asked_for_has_nothing_to_sign(client, instructor, board, stage):
    judged(board, instructor)
    response = client.get(address(board, "stage_sign", stage), follow=True)
    assert "There is nothing of yours to sign on this board." in text(response)


def test_nobody_signs_what_somebody_else_judged(client, instructor, board):
    judged(board, factories.make_user("instructor"))
    response = client.post(
        address(board, "stage_sign", "soldered"), {"password": PASSWORD}, follow=True
    )
    assert "There is nothing of yours to sign" in text(response)
    assert not StageSigning.objects.exists()


@pytest.mark.parametrize("role", ["operator", "quality", "administrator"])
def test_only_instructors_sign_and_correct(client, board, role):
    grading = signed(judged(board, factories.make_user("instructor")))
    client.force_login(factories.make_user(role))
    assert client.get(address(board, "stage_sign", "soldered")).status_code == 404
    assert sign(client, board).status_code == 404
    assert client.get(address(board, "grading_correct", grading.pk)).status_code == 404


# The result


def test_the_result_says_each_rule_with_its_figures(client, instructor, board):
    grading = judged(board, instructor)
    say(grading, "E01", "S-1", "reject")
    say(grading, None, "S-9", "reject")
    signed(grading)
    told = text(client.get(address(board, "board_result")))
    # (60 + 100 + 100) / 3 - 5 = 81.666..., rounded down.
    assert "did not pass" in told
    assert "<dd>81.6</dd>" in told
    assert "at least 80" in told
    assert "at most 1" in told
    assert told.count("yes</td>") == 5
    assert told.count("no</td>") == 1


def test_the_result_says_what_the_measured_ones_were_judged_by(client, instructor, board):
    grading = judged(board, instructor)
    tool = factories.make_tool(board.site)
    say(grading, "E01", "S-2", "accept", how="instrument", value=200, tool=tool)
    say(grading, "E02", "S-2", "not_applicable")
    signed(grading)
    told = text(client.get(address(board, "board_result")))
    assert "3 measured: 1 with an instrument, 1 by eye because …, 1 not applicable." in told
    assert "<b>By eye because “far inside its limit”</b>: E03 S-2." in told


def test_the_result_teaches_what_was_wrong_and_what_to_try(client, instructor, board):
    photo = factories.make_photo(board, board.joints.first())
    tool = factories.make_tool(board.site)
    grading = judged(board, instructor)
    seen = {"how": "photograph", "photo": photo, "mark": (400.0, 300.0), "note": "At the back"}
    say(grading, "E01", "S-1", "reject", **seen)
    read = {"how": "instrument", "value": Decimal(100), "uncertainty": Decimal(5), "tool": tool}
    say(grading, "E01", "S-2", "reject", **read)
    say(grading, None, "S-9", "reject")
    signed(grading)
    told = text(client.get(address(board, "board_result")))
    assert 'id="E01"' in told
    assert 'viewBox="160.0 120.0 480.0 360.0"' in told
    assert "Photograph of joint E01, the place marked" in told
    assert reverse("assessments:photo_rendition", args=[photo.key, 800]) in told
    assert "Stands in a ball." in told
    assert "<q>At the back</q>" in told
    assert "<b>Try this:</b> Heat the post first." in told
    assert "<b>100°</b> ± 5°" in told
    assert f"with an instrument {tool.code}" in told
    assert "The whole board" in told
    assert "turret-wrap" not in told  # The drawings are there as drawings, not as names.


def test_without_rejects_the_result_says_so(client, instructor, board):
    signed(judged(board, instructor))
    told = text(client.get(address(board, "board_result")))
    assert "No joint was rejected under any criterion." in told
    assert 'href="#E01"' not in told


def test_before_everything_is_signed_the_result_is_open(client, instructor, board):
    judged(board, instructor)
    told = text(client.get(address(board, "board_result")))
    assert "not signed yet" in told
    assert told.count("not yet</td>") == 6
    assert "Continue grading" in told


def test_the_makers_own_reading_is_compared_and_not_counted(client, instructor):
    factories.make_criteria_set({"code": "S-1"}, {"code": "S-2"})
    maker = factories.make_user()
    board = factories.make_board(maker.person, factories.make_exercise(("turret",)))
    own = services.start_own_reading(board=board, trainee=maker, at=NOW)
    say(own, "E01", "S-1", "accept")
    say(own, "E01", "S-2", "accept")
    grading = judged(board, instructor)
    say(grading, "E01", "S-2", "reject")
    signed(grading)
    client.force_login(maker)
    told = text(client.get(address(board, "board_result")))
    assert "1 of 2 judgements that both gave are the same." in told
    assert "not counted" in told
    assert "Correct this grading" not in told


def test_a_result_is_read_by_its_maker_instructors_and_quality_alone(client, board):
    signed(judged(board, factories.make_user("instructor")))
    maker = factories.make_user(person=board.person)
    elsewhere = factories.make_user("quality", site=factories.make_site("Aldergate", "AL"))
    readers = {
        maker: 200,
        factories.make_user("quality"): 200,
        factories.make_user("instructor"): 200,
        factories.make_user(): 404,
        factories.make_user("line_lead"): 404,
        factories.make_user("administrator"): 404,
        elsewhere: 404,
    }
    for reader, status in readers.items():
        client.force_login(reader)
        assert client.get(address(board, "board_result")).status_code == status


# Correcting


def test_a_correction_asks_why_and_begins_a_new_grading(client, instructor, board):
    grading = signed(judged(board, factories.make_user("instructor")))
    page = address(board, "grading_correct", grading.pk)
    assert "A signed grading never changes." in text(client.get(page))
    for reason in ("", "   "):
        response = client.post(page, {"reason": reason})
        assert response.status_code == 422
    assert Grading.objects.count() == 1
    response = client.post(page, {"reason": "Wrong joint read."})
    assert response.url == address(board, "board_grade")
    correction = Grading.objects.get(replaces=grading)
    assert (correction.grader, correction.reason) == (instructor, "Wrong joint read.")
    told = text(client.get(address(board, "board_result")))
    assert f"{instructor} has begun a correction." in told
    assert "Correct this grading" not in told
    assert "Wrong joint read." in text(client.get(response.url))


def test_a_signed_correction_counts_and_both_are_told(client, instructor, board):
    grading = judged(board, instructor)
    say(grading, "E01", "S-1", "reject")
    signed(grading)
    client.post(address(board, "grading_correct", grading.pk), {"reason": "Wrong joint read."})
    correction = Grading.objects.get(replaces=grading)
    say(correction, "E01", "S-1", "accept")
    sign(client, board)
    told = text(client.get(address(board, "board_result")))
    assert "passed" in told
    assert "Replaces an earlier grading: “Wrong joint read.”" in told
    again = client.post(address(board, "grading_correct", grading.pk), {"reason": "Again."})
    assert again.status_code == 422
    assert "replaced already" in text(again)


def test_what_is_not_signed_is_changed_and_not_corrected(client, instructor, board):
    grading = judged(board, instructor)
    response = client.post(address(board, "grading_correct", grading.pk), {"reason": "Wrong."})
    assert response.status_code == 422
    assert "just change its judgements" in text(response)


def test_a_grading_of_another_board_is_not_found(client, instructor, board):
    other = factories.make_board(exercise=board.exercise)
    grading = signed(judged(other, instructor))
    assert client.get(address(board, "grading_correct", grading.pk)).status_code == 404
