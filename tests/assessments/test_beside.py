"""What a grader lays beside a joint: drawings, an earlier board, the maker's own reading."""

from datetime import timedelta

import pytest
from django.urls import reverse

from assessments.models import ReadingRequest
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements, rework
from tests import factories
from tests.assessments import several
from tests.factories import NOW
from tests.markup import Markup

pytestmark = pytest.mark.django_db

INSIDE = {"HX-Request": "true"}


@pytest.fixture(autouse=True)
def criteria():
    texts = {"title": "Wetting", "text": "Runs out flat.", "reject": "Stands in a ball."}
    return factories.make_criteria_set({"code": "S-1", "texts": {"en": texts}}, {"code": "S-2"})


@pytest.fixture
def exercise():
    return factories.make_exercise(("turret",) * 2)


@pytest.fixture
def trainee():
    return factories.make_user()


@pytest.fixture
def instructor(client):
    user = factories.make_user("instructor")
    client.force_login(user)
    return user


def board_of(trainee, exercise, days_ago=0, **fields):
    fields = {"handed_in_at": NOW - timedelta(days=days_ago), **fields}
    return factories.make_board(trainee.person, exercise, **fields)


def say(grading, place, code, outcome, **seen):
    judgements.judge(
        grading=grading,
        criterion=grading.criteria_set.criteria.get(code=code),
        joint=grading.board.joints.get(position__name=place),
        outcome=outcome,
        seen=judgements.Circumstances(**seen),
        at=NOW,
    )


def judged(board, grader, note="", *, sign=True):
    """E01 rejected under S-1 with a note and a marked place, the rest accepted."""
    photo = factories.make_photo(board, board.joints.first(), stage="soldered")
    grading = services.start_grading(board=board, grader=grader, at=NOW)
    for joint in board_results.joints_that_count(board):
        for criterion in board_results.criteria_for(grading, "soldered", joint):
            say(grading, joint.position.name, criterion.code, "accept")
    say(
        grading, "E01", "S-1", "reject",
        how="photograph", photo=photo, mark=(400.0, 300.0), note=note,
    )  # fmt: skip
    if sign:
        services.sign_stage(
            grading=grading, stage="soldered", signer=grader, proof="password", at=NOW
        )
    return photo


def ask(client, board, headers=INSIDE, **asked):
    asked = {"stage": "soldered", "joint": "E01", "criterion": "S-1", **asked}
    address = reverse("assessments:board_comparison", args=[board.number])
    return client.get(address, asked, headers=headers)


def text(response):
    return Markup(response.content.decode()).replace("\xa0", " ")


def test_the_criterions_drawings_stand_there_with_their_words(
    client, instructor, trainee, exercise
):
    told = text(ask(client, board_of(trainee, exercise)))
    assert "S-1 Wetting" in told
    assert told.count('class="drawing"') == 2
    assert "Runs out flat." in told
    assert "Stands in a ball." in told
    assert "No earlier board of this operator to this exercise is signed to the end." in told
    assert "<html" not in told


def test_the_latest_earlier_board_is_shown_and_others_can_be_chosen(
    client, instructor, trainee, exercise
):
    first = board_of(trainee, exercise, 20)
    older = judged(first, instructor, "Older")
    second = board_of(trainee, exercise, 10)
    newer = judged(second, instructor, "A ball at the back")
    board = board_of(trainee, exercise)
    told = text(ask(client, board))
    assert f"<b>{second.number}</b> E01" in told
    assert "“A ball at the back”" in told
    assert "Older" not in told
    assert reverse("assessments:photo_rendition", args=[newer.key, 2048]) in told
    assert '<circle cx="400.0" cy="300.0"' in told
    told = text(ask(client, board, other=first.number))
    assert "“Older”" in told
    assert reverse("assessments:photo_rendition", args=[older.key, 2048]) in told
    told = text(ask(client, board, joint="E02"))
    assert "A ball at the back" not in told
    assert "It has no photograph of this position." in told


def test_what_is_not_signed_to_the_end_is_not_shown(client, instructor, trainee, exercise):
    judged(board_of(trainee, exercise, 10), instructor, "Not signed", sign=False)
    told = text(ask(client, board_of(trainee, exercise)))
    assert "Not signed" not in told
    assert "is signed to the end" in told


def test_two_graders_boards_show_once_the_result_is_complete(
    client, instructor, trainee, exercise, criteria
):
    exercise.graders = 2
    exercise.stages = ["soldered", "cleaned"]
    with factories.unprotected():
        exercise.save()
    judged(board_of(trainee, exercise, 10), instructor, "Seen by one alone")
    told = text(ask(client, board_of(trainee, exercise)))
    assert "Seen by one alone" not in told


@pytest.mark.parametrize("whose", ["another person's", "another exercise's", "a later one"])
def test_no_other_board_is_an_earlier_one(client, instructor, trainee, exercise, whose):
    board = board_of(trainee, exercise, 5)
    stranger = {
        "another person's": lambda: board_of(factories.make_user(), exercise, 10),
        "another exercise's": lambda: board_of(
            trainee, factories.make_exercise(("turret",) * 2), 10
        ),
        "a later one": lambda: board_of(trainee, exercise, 1),
    }[whose]()
    judged(stranger, instructor, "Not to be seen here")
    told = text(ask(client, board, other=stranger.number))
    assert "Not to be seen here" not in told
    assert stranger.number not in told


def test_boards_of_a_site_that_one_does_not_teach_at_are_not_shown(client, trainee, exercise):
    there = factories.make_site("Aldergate", "AL")
    elsewhere = board_of(trainee, exercise, 10, site=there)
    judged(elsewhere, factories.make_user("instructor", site=there), "Elsewhere")
    client.force_login(factories.make_user("instructor"))
    told = text(ask(client, board_of(trainee, exercise)))
    assert "Elsewhere" not in told
    assert elsewhere.number not in told


def test_the_makers_own_reading_stands_beside_the_graders(client, instructor, trainee, exercise):
    board = board_of(trainee, exercise)
    assert "Own reading" not in text(ask(client, board))
    own = services.start_own_reading(board=board, trainee=trainee, at=NOW)
    say(own, "E01", "S-1", "accept", note="Looks flat to me")
    mine = services.start_grading(board=board, grader=instructor, at=NOW)
    say(mine, "E01", "S-1", "reject")
    told = text(ask(client, board))
    assert "kept apart, never counted" in told
    assert "“Looks flat to me”" in told
    own_part = told[told.index('data-view="own"') : told.index('data-view="drawings"')]
    assert own_part.index("accept") < own_part.index("reject")


def test_another_graders_open_reading_is_not_shown(client, instructor, trainee, exercise):
    board = board_of(trainee, exercise)
    judged(board, factories.make_user("instructor"), "The other grader's", sign=False)
    assert "The other grader" not in text(ask(client, board))


@pytest.mark.parametrize(
    "asked", [{"stage": "baked"}, {"joint": "E99"}, {"joint": ""}, {"stage": "formed"}]
)
def test_what_the_board_does_not_have_is_not_found(client, instructor, trainee, exercise, asked):
    assert ask(client, board_of(trainee, exercise), **asked).status_code == 404


def test_without_a_script_it_is_a_page_that_leads_back(client, instructor, trainee, exercise):
    board = board_of(trainee, exercise)
    told = text(ask(client, board, headers={}))
    assert "<html" in told
    grade = reverse("assessments:board_grade", args=[board.number])
    assert f'href="{grade}?stage=soldered&amp;joint=E01&amp;criterion=S-1"' in told
    page = text(client.get(f"{grade}?joint=E01&criterion=S-1"))
    assert reverse("assessments:board_comparison", args=[board.number]) in page
    assert "<kbd>C</kbd>" in page
    assert "<kbd>Z</kbd>" in page


def test_only_whoever_may_judge_the_board_asks(client, trainee, exercise):
    board = board_of(trainee, exercise)
    for reader in (trainee, factories.make_user("quality"), factories.make_user("line_lead")):
        client.force_login(reader)
        assert ask(client, board).status_code == 404
    own = reverse("assessments:board_own_reading", args=[board.number])
    client.force_login(trainee)
    assert "show-comparison" not in text(client.get(own))


def test_it_asks_no_more_however_much_there_is(
    client, instructor, trainee, exercise, django_assert_max_num_queries
):
    for days_ago in range(12, 2, -1):
        judged(board_of(trainee, exercise, days_ago), instructor)
    board = board_of(trainee, exercise)
    with django_assert_max_num_queries(26):
        told = text(ask(client, board))
    assert told.count("data-other=") == 8


# Somebody else's good one, and the make before


@pytest.fixture
def other():
    return factories.make_user(person=factories.make_person(full_name="Ilse Quarrington"))


def with_photo(board, name="E02", make=1, **fields):
    joint = board.joints.get(position__name=name, make=make)
    return factories.make_photo(board, joint, stage="soldered", **fields)


def test_somebody_elses_accepted_joint_is_a_good_example(
    client, instructor, trainee, other, exercise
):
    theirs = board_of(other, exercise, 10)
    photo = with_photo(theirs)
    judged(theirs, instructor)
    told = text(ask(client, board_of(trainee, exercise), joint="E02"))
    assert f"<b>{theirs.number}</b> E02" in told
    assert "Ilse Quarrington" in told
    assert reverse("assessments:photo_rendition", args=[photo.key, 2048]) in told


def test_no_example_is_rejected_of_the_same_person_or_of_what_the_reader_may_not_see(
    client, instructor, trainee, other, exercise
):
    none = "Nobody else has an accepted joint at this position"
    own = board_of(trainee, exercise, 20)
    with_photo(own)
    judged(own, instructor)
    board = board_of(trainee, exercise)
    assert none in text(ask(client, board, joint="E02"))
    theirs = board_of(other, exercise, 10)
    judged(theirs, instructor)  # E01 is rejected, and E02 has no photograph.
    assert none in text(ask(client, board, joint="E01"))
    assert none in text(ask(client, board, joint="E02"))
    far_site = factories.make_site(name="Alderney", prefix="AL")
    elsewhere = factories.make_user("instructor", site=far_site)
    far = factories.make_user(person=factories.make_person(far_site))
    away = factories.make_board(far.person, exercise, handed_in_at=NOW - timedelta(days=5))
    with_photo(away)
    judged(away, elsewhere)
    assert none in text(ask(client, board, joint="E02"))
    good = board_of(other, exercise, 3)
    with_photo(good)
    judged(good, factories.make_user("instructor"))
    assert none not in text(ask(client, board, joint="E02"))
    # While another reading is asked for, whoever may give it sees nothing of the former one.
    ReadingRequest.objects.create(board=good, asked_by=other, reason="Look again.")
    assert none in text(ask(client, board, joint="E02"))


@pytest.fixture
def reworked(instructor, trainee, exercise):
    exercise.rework_allowed = 1
    with factories.unprotected():
        exercise.save()
    board = board_of(trainee, exercise)
    photo = judged(board, instructor, "A ball at the back")
    rework.send_back(
        board=several.fresh(board), joint=board.joints.get(position__name="E01"), codes=["S-1"],
        reason="Heat the post first", actor=instructor, at=NOW,
    )  # fmt: skip
    return board, photo


def test_the_make_before_stands_beside_the_one_that_was_reworked(client, reworked):
    board, photo = reworked
    told = text(ask(client, several.fresh(board)))
    assert "E01, first attempt" in told
    assert "<q>Heat the post first</q>" in told
    assert "“A ball at the back”" in told
    assert reverse("assessments:photo_rendition", args=[photo.key, 2048]) in told


def test_a_first_make_has_none_before_it(client, instructor, trainee, exercise):
    assert "This is its first attempt." in text(ask(client, board_of(trainee, exercise)))


def test_whoever_may_not_see_what_was_judged_sees_the_make_before_alone(client, reworked, trainee):
    board, photo = reworked
    ReadingRequest.objects.create(board=board, asked_by=trainee, reason="Look again.")
    client.force_login(factories.make_user("instructor"))
    told = text(ask(client, several.fresh(board)))
    assert "A ball at the back" not in told
    assert "Heat the post first" not in told
    if "E01, first attempt" in told:
        assert "What was judged of it is not shown while you judge by yourself." in told
        assert reverse("assessments:photo_rendition", args=[photo.key, 2048]) in told
