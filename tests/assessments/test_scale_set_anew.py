"""A scale of a photograph put right: what the one before gave is kept, and counts no more."""

import pytest
from django.urls import reverse

from assessments.exceptions import AssessmentError, StageNotReady
from assessments.models import Criterion, Grading, Measurement
from assessments.queries.board_for_grader import BoardForGrader
from assessments.queries.repeatability import scatter_of
from assessments.services import grading, judgements, measuring
from assessments.services.judgements import Circumstances
from assessments.services.measuring import KnownSize
from tests import factories
from tests.assessments.marks_placed import wrap
from tests.factories import NOW

KNOWN = {"ends": [(100.0, 100.0), (180.0, 160.0)]}  # 100 px
LONG = {"ends": [(100.0, 100.0), (340.0, 280.0)]}  # 300 px
RIGHT, SLIP = KnownSize(0.8, 0.007), KnownSize(0.2, 0.002)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


@pytest.fixture(autouse=True)
def criteria():
    return factories.make_criteria_set(
        {"code": "L", "how": "measured", "quantity": "length", "high": 1, "unit": "mm"},
        {"code": "W", "how": "measured", "quantity": "wrap", "low": 180, "high": 270,
         "unit": "deg"},
    )  # fmt: skip


@pytest.fixture
def board():
    return factories.make_board()


@pytest.fixture
def photo(board):
    return factories.on_a_stand(factories.make_photo(board, board.joints.first()))


@pytest.fixture
def grader(photo):
    return factories.make_user("instructor", site=photo.board.site)


def keep(photo, actor, quantity, marks, code="", size=None, sigma=1.0):
    criterion = Criterion.objects.get(code=code) if code else None
    kept = measuring.keep_measurement(
        photo=photo,
        quantity=quantity,
        marks=marks,
        options=measuring.options_for(joint=photo.joint, criterion=criterion, size=size),
        mark_uncertainty_px=sigma,
        actor=actor,
        at=NOW,
        joint=photo.joint,
        criterion=criterion,
        size=size,
    )
    photo.refresh_from_db()
    return kept


def scale(photo, actor, size, marks=KNOWN):
    return keep(photo, actor, "scale", marks, size=size)


def length(photo, actor, marks=LONG):
    return keep(photo, actor, "length", marks, "L")


def turn(photo, actor):
    return keep(photo, actor, "wrap", wrap(225).marks, "W")


def begin(photo, grader):
    return grading.start_grading(board=photo.board, grader=grader, at=NOW)


def judge(reading, joint, outcome, code="L", **seen):
    return judgements.judge(
        grading=reading, criterion=Criterion.objects.get(code=code), joint=joint,
        outcome=outcome, seen=Circumstances(**seen), at=NOW,
    )  # fmt: skip


def judge_the_rest_by_eye(reading):
    done = set(reading.judgements.values_list("joint", "criterion__code"))
    for joint in reading.board.joints.all():
        for code in ("L", "W"):
            if (joint.pk, code) not in done:
                judge(reading, joint, "accept", code, by_eye_because="seen from behind")


def sign(reading):
    reading = Grading.objects.get(pk=reading.pk)
    return grading.sign_stage(
        grading=reading, stage="soldered", signer=reading.grader, proof="password", at=NOW
    )


def place(photo, grader, code="L"):
    view = BoardForGrader(photo.board, grader, own=False)
    return view.measured(photo.joint, Criterion.objects.get(code=code))


def test_nothing_is_judged_by_a_scale_that_was_put_right(photo, grader):
    scale(photo, grader, SLIP)
    wrong = length(photo, grader)
    assert wrong.verdict == "within"
    reading = begin(photo, grader)
    scale(photo, grader, RIGHT)
    with pytest.raises(AssessmentError, match=r"scale was set anew.*Measure it again"):
        judge(reading, photo.joint, "accept", measured=wrong.pk)
    right = length(photo, grader)
    with pytest.raises(AssessmentError, match="later measurement"):
        judge(reading, photo.joint, "accept", measured=wrong.pk)
    with pytest.raises(AssessmentError, match="outside its limits"):
        judge(reading, photo.joint, "accept", measured=right.pk)
    said = judge(reading, photo.joint, "reject", measured=right.pk)
    assert (float(said.value), said.repeats) == (pytest.approx(2.4), {})
    wrong.refresh_from_db()
    assert wrong.value == pytest.approx(0.6)


def test_a_slip_is_not_the_worst_of_all_for_good(photo, grader):
    scale(photo, grader, KnownSize(8.0, 0.07))
    assert length(photo, grader, KNOWN).verdict == "outside"
    scale(photo, grader, RIGHT)
    assert place(photo, grader) is None
    length(photo, grader, KNOWN)
    counts = place(photo, grader)
    assert (counts.value, counts.verdict) == (pytest.approx(0.8), "within")


def test_nothing_is_signed_that_was_judged_by_a_scale_put_right_since(photo, grader):
    scale(photo, grader, SLIP)
    first = length(photo, grader)
    second = length(photo, grader, {"ends": [(100.0, 100.0), (340.5, 280.0)]})
    reading = begin(photo, grader)
    assert judge(reading, photo.joint, "accept", measured=second.pk).repeats["used"] == [
        first.pk,
        second.pk,
    ]
    judge_the_rest_by_eye(reading)
    scale(photo, grader, RIGHT)
    with pytest.raises(StageNotReady, match=r"scale was set anew: E01 L\. Measure each again"):
        sign(reading)
    judge(reading, photo.joint, "reject", measured=length(photo, grader).pk)
    assert sign(reading).result["counts"]["rejected"] == 1


def test_what_was_signed_stays_and_a_correction_takes_it_over(photo, grader):
    scale(photo, grader, SLIP)
    reading = begin(photo, grader)
    judge(reading, photo.joint, "accept", measured=length(photo, grader).pk)
    judge_the_rest_by_eye(reading)
    before = sign(reading).result
    scale(photo, grader, RIGHT)
    later = grading.correct_grading(grading=reading, grader=grader, reason="W of E02.", at=NOW)
    judge(later, photo.board.joints.last(), "reject", "W", by_eye_because="hidden")
    assert sign(later).result["counts"]["rejected"] == 1
    assert reading.signings.get().result == before
    assert float(reading.judgements.get(measurement__isnull=False).value) == pytest.approx(0.6)


def test_an_angle_counts_by_whatever_scale(photo, grader):
    scale(photo, grader, SLIP)
    kept = turn(photo, grader)
    scale(photo, grader, RIGHT)
    judge(begin(photo, grader), photo.joint, "accept", "W", measured=kept.pk)
    assert place(photo, grader, "W").latest == kept


def test_the_same_scale_kept_once_more_leaves_nothing_out(photo, grader):
    scale(photo, grader, RIGHT)
    kept = length(photo, grader)
    scale(photo, grader, RIGHT)
    assert place(photo, grader).latest == kept


@pytest.mark.parametrize(("half_mm", "counts"), [(0.07, False), (0.006, True)])
def test_what_a_known_size_may_be_off_by_is_put_right_too(photo, grader, half_mm, counts):
    scale(photo, grader, RIGHT)
    length(photo, grader)
    scale(photo, grader, KnownSize(0.8, half_mm))
    assert (place(photo, grader) is not None) == counts


def test_a_page_that_showed_two_together_judges_by_neither_alone(photo, grader):
    beside = factories.on_a_stand(factories.make_photo(photo.board, photo.joint))
    for each in (beside, photo):
        scale(each, grader, SLIP)
        last = length(each, grader)
    reading = begin(photo, grader)
    scale(beside, grader, RIGHT)
    with pytest.raises(AssessmentError, match="set anew"):
        judge(reading, photo.joint, "accept", measured=last.pk, measured_times=2)
    said = judge(reading, photo.joint, "accept", measured=last.pk, measured_times=1)
    assert said.measurement == last


def test_a_scale_put_right_is_no_scatter_of_the_marks(photo, grader):
    scale(photo, grader, RIGHT)
    for n in range(11):
        length(photo, grader, {"ends": [(100.0, 100.0), (180.0 + (n - 5) * 0.2, 160.0)]})
    before = scatter_of(grader)
    scale(photo, grader, KnownSize(8.0, 0.07))
    length(photo, grader, {"ends": [(100.0, 100.0), (180.1, 160.0)]})
    assert scatter_of(grader) == pytest.approx(before, rel=0.1)


def test_the_pages_say_what_counts_no_more_and_why(client, photo, grader):
    client.force_login(grader)
    scale(photo, grader, SLIP)
    reading = begin(photo, grader)
    judge(reading, photo.joint, "accept", measured=length(photo, grader).pk)
    query = "?criterion=L&joint=E01"
    pages = {
        "grade": reverse("assessments:board_grade", args=[photo.board.number]) + query,
        "measure": reverse("assessments:photo_measure", args=[photo.key]) + query,
        "photo": reverse("assessments:photo_detail", args=[photo.key]),
    }

    def read(name):
        return client.get(pages[name]).content.decode()

    assert not any("set anew" in read(name).replace("Set anew, it", "") for name in pages)
    scale(photo, grader, RIGHT)
    screen = read("grade")
    assert screen.count("it no longer counts: measure again") == 2  # in words and for the script
    assert "Its scale was set anew since" in screen
    assert "0.600" not in read("measure").split('id="live-value"')[1].split("</div>")[0]
    for name in ("measure", "photo"):
        assert "nothing more is judged by it" in read(name)
    length(photo, grader)
    length(photo, grader, {"ends": [(100.0, 100.0), (340.5, 280.0)]})
    assert "2 measurements combined" in read("measure")
    for name in ("grade", "measure"):
        assert "1 measurement from before the photograph’s scale was set anew is" in read(name)
    assert Measurement.objects.filter(quantity="length").count() == 3


def test_the_grading_screen_sends_how_many_it_showed(client, photo, grader):
    client.force_login(grader)
    beside = factories.on_a_stand(factories.make_photo(photo.board, photo.joint))
    for each in (beside, photo):
        scale(each, grader, SLIP)
        last = length(each, grader)
    page = reverse("assessments:board_grade", args=[photo.board.number])
    screen = client.get(f"{page}?criterion=L&joint=E01").content.decode()
    assert 'name="measured_times"\n                    value="2"' in screen
    scale(beside, grader, RIGHT)
    sent = {"stage": "soldered", "joint": "E01", "criterion": "L", "outcome": "accept",
            "by_marks": last.pk, "measured_times": 2}  # fmt: skip
    answer = client.post(reverse("assessments:board_judge", args=[photo.board.number]), sent)
    assert (answer.status_code, "set anew" in answer.content.decode()) == (422, True)


def test_the_picture_with_marks_says_it_too(photo, grader):
    scale(photo, grader, SLIP)
    kept = length(photo, grader)
    assert measuring.picture_says(kept).endswith(", within")
    scale(photo, grader, RIGHT)
    kept = Measurement.objects.get(pk=kept.pk)
    assert measuring.picture_says(kept).endswith("within, measured before the scale was set anew")
