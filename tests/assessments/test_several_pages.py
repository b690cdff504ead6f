"""Rework, two graders and another reading in the browser's answers; what leaks is nothing."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from assessments import access, ports
from assessments.models import Grading, Joint, ReadingRequest
from assessments.queries import effective_judgements
from assessments.services import measuring
from tests import factories
from tests.assessments.several import (
    begin,
    fresh,
    joint,
    judge,
    make_criteria,
    outcome_of,
    read,
    sign,
)
from tests.factories import PASSWORD
from tests.signing import send_as_shown

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]

NOTE = "a note nobody else reads"


@pytest.fixture
def criteria():
    return make_criteria()


@pytest.fixture
def graders(criteria):
    return [factories.make_user("instructor", password=PASSWORD) for _ in range(4)]


def make_board(graders=1, **fields):
    exercise = factories.make_exercise(
        stages=("formed", "soldered"), graders=graders, rework_allowed=1, **fields
    )
    return factories.make_board(exercise=exercise)


def at(name, board, *more):
    return reverse(f"assessments:{name}", args=[board.number, *more])


def as_seen_by(client, user, address, **headers):
    client.force_login(user)
    return client.get(address, follow=True, headers=headers)


def without_templates(response):
    """A page without the shapes and words that its script shows once something is judged."""
    return re.sub(r"<template.*?</template>", "", text_of(response))


def text_of(response):
    return re.sub(r"\s+", " ", response.content.decode())


# Two graders: what nobody is shown


@pytest.fixture
def half_read(graders, criteria, files):
    """A two-grader board of which one grader has signed, with all that a judgement may carry."""
    return read_in_full(make_board(graders=2), graders)


def read_in_full(board, graders):
    photo = factories.make_photo(board, joint(board, "E02"))
    grading = begin(board, graders[0])
    judge(grading, [("E02", "S-1")])
    judgement = grading.judgements.get(joint__position__name="E02", criterion__code="S-1")
    judgement.note, judgement.photo = NOTE, photo
    judgement.mark_x, judgement.mark_y = 432.5, 321.5
    judgement.save()
    measured = measuring.keep_measurement(
        photo=photo,
        quantity="fill",
        marks={"bottom": [[10, 110]], "top": [[10, 10]], "level": [[10, 40]]},
        options=measuring.options_for(joint=photo.joint, criterion=None),
        mark_uncertainty_px=1.0,
        actor=graders[0],
        at=timezone.now(),
    )
    judgement.measurement = measured
    judgement.save()
    sign(grading)
    return board, photo, grading, measured


ADDRESSES = (
    "board_detail", "board_grade", "board_result", "board_piece", "board_list", "bench",
    "photo_detail", "photo_measure", "photo_measured", "grading_correct", "joint_rework",
    "board_decide", "another_reading", "board_sheet", "board_sheet_pdf", "find",
    "stage_sign", "my_card", "labels",
)  # fmt: skip


def addresses(board, photo, grading, measured):
    own = {
        "board_list": reverse("assessments:board_list"),
        "labels": reverse("assessments:board_labels") + f"?number={board.number}",
        "bench": reverse("certification:bench"),
        "my_card": reverse("certification:my_card"),
        "find": reverse("people:find") + f"?q={board.number}",
        "photo_detail": reverse("assessments:photo_detail", args=[photo.key]),
        "photo_measure": reverse("assessments:photo_measure", args=[photo.key]),
        "photo_measured": reverse("assessments:photo_measured", args=[photo.key, measured.pk]),
        "grading_correct": at("grading_correct", board, grading.pk),
        "joint_rework": at("joint_rework", board, joint(board, "E02").pk),
        "stage_sign": at("stage_sign", board, "soldered"),
    }
    return {name: own.get(name) or at(name, board) for name in ADDRESSES}


def everywhere(client, user, things):
    """What each address answers, whatever form is asked for, and each page that it leads on to.

    Many lead on to the same page, with a line on why: it is read again at the end, since a line
    that no page had said before stands there.
    """
    client.force_login(user)
    read = set()
    for name, address in addresses(*things).items():
        for headers in ({}, {"HX-Request": "true"}, {"Accept": "application/json"}):
            url = address
            while url and (said := (url, *headers, name == "stage_sign")) not in read:
                read.add(said)
                response = client.get(url, headers=headers)
                yield name, response
                url = response.url if response.status_code == 302 else None
    yield "last", client.get(at("board_detail", things[0]))


@pytest.mark.parametrize("who", ["second", "third", "quality", "owner"])
def test_no_address_shows_what_the_first_grader_judged(client, graders, half_read, who):
    board, photo, _grading, measured = half_read
    user = {
        "second": graders[1],
        "third": graders[2],
        "quality": factories.make_user("quality"),
        "owner": factories.make_user(person=board.person),
    }[who]
    if who == "second":
        judge(begin(board, user), stages=["formed"])
    for name, response in everywhere(client, user, half_read):
        told = without_templates(response)
        assert NOTE not in told, name
        assert "432.5" not in told, name
        assert "Title 2 <small>critical" not in told, name
        if name != "stage_sign":  # It counts one's own rejects, also where there are none.
            assert 'class="verdict is-reject"' not in told, name
        assert response.status_code in (200, 302, 403, 404), name
    # Its picture cannot be drawn here, since the photograph has no file.
    assert measured not in access.measurements_readable_by(user, photo)


@pytest.mark.parametrize("stage", ["formed", "soldered"])
def test_the_second_grader_begins_with_nothing_judged(client, graders, half_read, stage):
    board, *_ = half_read
    told = as_seen_by(client, graders[1], at("board_grade", board) + f"?stage={stage}&joint=E02")
    assert told.context["screen"].judged == 0
    assert told.context["grading_state"]["judged"]["E02"] == {}
    assert "This stage is signed" not in text_of(told)


def test_the_first_sees_nothing_of_the_second(client, graders, half_read):
    board, *_ = half_read
    second = begin(board, graders[1])
    judge(second, [("E03", "S-3")])
    sign(second, ["formed"])
    response = as_seen_by(client, graders[0], at("board_grade", board))
    assert "It waits for the other grader" in text_of(response)
    assert response.redirect_chain[-1][0] == at("board_detail", board)
    response = as_seen_by(client, graders[0], at("board_result", board))
    assert "Two graders judge" in text_of(response)
    assert response.redirect_chain[-1][0] == at("board_detail", board)


def test_the_second_does_not_correct_the_first_to_see_it(client, graders, half_read):
    board, _photo, grading, _measured = half_read
    begin(board, graders[1])
    client.force_login(graders[1])
    answer = client.post(at("grading_correct", board, grading.pk), {"reason": "Let me see."})
    assert answer.status_code == 422
    assert "do not correct" in text_of(answer)
    assert Grading.objects.filter(grader=graders[1], replaces__isnull=False).count() == 0


def test_a_judgement_sent_by_the_script_is_taken_of_the_second(client, graders, half_read):
    board, *_ = half_read
    begin(board, graders[1])
    client.force_login(graders[1])
    answer = client.post(
        at("board_judge", board),
        {
            "stage": "soldered",
            "joint": "E02",
            "criterion": "S-1",
            "outcome": "accept",
            "how": "at_board",
            "key": "6c1f5f0e-8a35-4d5e-9a44-0d7c7f3e0a11",
        },
        headers={"Accept": "application/json"},
    )
    assert answer.json() == {"saved": True}
    mine = Grading.objects.get(grader=graders[1])
    assert mine.judgements.get().outcome == "accept"


def test_bench_and_board_say_that_a_second_grader_is_wanted(client, graders, half_read):
    board, *_ = half_read
    told = text_of(as_seen_by(client, graders[1], reverse("certification:bench")))
    assert "it waits for the second" in told
    assert at("board_grade", board) in told
    told = text_of(as_seen_by(client, graders[0], reverse("certification:bench")))
    assert board.number not in told
    told = text_of(as_seen_by(client, graders[1], at("board_detail", board)))
    assert "1 of 2 have signed" in told
    told = text_of(as_seen_by(client, graders[0], at("board_detail", board)))
    assert "It waits for somebody else now" in told


# The third person


@pytest.fixture
def differing(graders, criteria):
    board = make_board(graders=2)
    read(board, graders[0], ("E02", "S-1"))
    read(board, graders[1], ("board", "S-9"))
    return board


def decision_data(board, outcome="accept", password=PASSWORD, leave=0):
    found = effective_judgements.to_decide(fresh(board))
    data = {"password": password}
    for one in found[leave:]:
        name = f"p{one.first.joint_id or 0}-{one.first.criterion_id}"
        data |= {f"{name}-outcome": outcome, f"{name}-how": "at_board", f"{name}-note": "Seen."}
    return data


def test_a_third_person_decides_with_both_readings_before_them(client, graders, differing):
    told = text_of(as_seen_by(client, graders[2], reverse("certification:bench")))
    assert "two graders differ" in told
    page = as_seen_by(client, graders[2], at("board_decide", differing))
    told = text_of(page)
    assert len(page.context["rows"]) == 2
    assert "One grader" in told
    assert 'class="verdict is-reject"' in told
    assert str(graders[0]) not in told
    answer = send_as_shown(
        client, at("board_decide", differing), decision_data(differing), follow=True
    )
    assert answer.redirect_chain[-1][0] == at("board_result", differing)
    told = text_of(answer)
    assert "Decided and signed" in told
    assert "2 judgements differed" in told
    for grader in graders[:3]:
        assert str(grader) in told
    assert [stage for stage, *_more in answer.context["stages"]] == (
        ["formed"] * 2 + ["soldered"] * 3
    )
    assert answer.context["correctable"] == []
    assert told.count("Seen.") == 2
    assert outcome_of(differing)[:2] == (True, True)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        pytest.param({"leave": 1}, "Decide this one too", id="one left out"),
        pytest.param({"password": "no"}, "password", id="the wrong password"),
        pytest.param({"outcome": "maybe"}, "not one of the available choices", id="no judgement"),
    ],
)
def test_a_decision_that_is_not_whole_is_shown_again(client, graders, differing, data, says):
    client.force_login(graders[2])
    answer = send_as_shown(client, at("board_decide", differing), decision_data(differing, **data))
    assert answer.status_code == 422
    assert says in text_of(answer)
    assert "Seen." in text_of(answer)
    assert outcome_of(differing) == (False, None, None)


def test_the_decision_is_not_there_for_the_two_nor_for_anybody_else(client, graders, differing):
    owner = factories.make_user("instructor", person=differing.person)
    quality = factories.make_user("quality")
    for user in (graders[0], graders[1], owner, quality):
        client.force_login(user)
        for ask in (client.get, client.post):
            assert ask(at("board_decide", differing)).status_code == 404
    agreed = make_board(graders=2)
    client.force_login(graders[2])
    assert client.get(at("board_decide", agreed)).status_code == 404


# Rework


@pytest.fixture
def rejected(graders, criteria):
    board = make_board()
    read(board, graders[0], ("E02", "S-1"), ("E02", "S-3"))
    return board


def test_a_joint_is_sent_back_reworked_and_inspected(client, graders, rejected):
    e02 = joint(rejected, "E02")
    told = text_of(as_seen_by(client, graders[0], at("board_result", rejected)))
    assert told.count(at("joint_rework", rejected, e02.pk)) == 1
    page = as_seen_by(client, graders[0], at("joint_rework", rejected, e02.pk))
    assert [code for code, _title in page.context["form"].fields["codes"].choices] == ["S-1", "S-3"]
    answer = client.post(
        at("joint_rework", rejected, e02.pk),
        {"codes": ["S-1"], "reason": "More heat."},
        follow=True,
    )
    assert "E02 is sent back" in text_of(answer)

    owner = factories.make_user(person=rejected.person)
    told = text_of(as_seen_by(client, owner, reverse("assessments:board_list")))
    assert "sent back" in told
    told = text_of(as_seen_by(client, owner, at("board_detail", rejected)))
    assert "More heat." in told
    assert "E02</span>" in told.split('id="board-joints"')[1]
    assert told.split('id="board-joints"')[1].count("#m-reject") == 1
    assert at("board_hand_in", rejected) in told
    client.post(at("board_hand_in", rejected))

    told = text_of(as_seen_by(client, graders[1], reverse("certification:bench")))
    assert "reworked joints wait to be inspected" in told
    screen = as_seen_by(client, graders[1], at("board_grade", rejected)).context["screen"]
    assert [str(one.joint) for one in screen.cells] == ["E02, rework 1"]
    for criterion, stage in (("F-1", "formed"), ("S-1", "soldered"), ("S-3", "soldered")):
        answer = client.post(
            at("board_judge", rejected),
            {
                "stage": stage,
                "joint": "E02",
                "criterion": criterion,
                "outcome": "accept",
                "how": "at_board",
            },
            headers={"Accept": "application/json"},
        )
        assert answer.json() == {"saved": True}
    for stage in ("formed", "soldered"):
        send_as_shown(client, at("stage_sign", rejected, stage), {"password": PASSWORD})
    assert outcome_of(rejected)[:2] == (True, True)
    told = text_of(as_seen_by(client, owner, at("board_result", rejected)))
    assert "E02, first attempt" in told
    assert "E02, rework 1" in told
    assert "kept, for the statistics" in told
    assert told.count("the last attempt counts") == 1


@pytest.mark.parametrize(
    ("name", "says"), [("E01", "not rejected"), ("E02", "Choose what it is sent back for")]
)
def test_a_refusal_to_send_back_says_why(client, graders, rejected, name, says):
    client.force_login(graders[0])
    address = at("joint_rework", rejected, joint(rejected, name).pk)
    told = text_of(client.post(address, {"reason": "no code"}, follow=True))
    assert says in told
    assert Joint.objects.filter(make=2).count() == 0


def test_only_graders_send_back(client, rejected):
    address = at("joint_rework", rejected, joint(rejected, "E02").pk)
    assert client.get(address).status_code == 302
    for user in (factories.make_user(person=rejected.person), factories.make_user("quality")):
        client.force_login(user)
        assert client.get(address).status_code == 404
        assert client.post(address, {"codes": ["S-1"]}).status_code == 404


# Another reading


def test_a_trainee_asks_once_and_is_shown_the_answer(client, graders, rejected):
    owner = factories.make_user(person=rejected.person)
    told = text_of(as_seen_by(client, owner, at("board_result", rejected)))
    assert at("another_reading", rejected) in told
    assert "counts, for better or worse" in text_of(client.get(at("another_reading", rejected)))
    empty = client.post(at("another_reading", rejected), {"reason": " "})
    assert (empty.status_code, ReadingRequest.objects.count()) == (422, 0)
    client.post(at("another_reading", rejected), {"reason": "E02 is wetted."})
    for ask in (client.get, client.post):
        told = text_of(ask(at("another_reading", rejected), {"reason": "Again."}, follow=True))
        assert "It can be asked for once" in told
    assert ReadingRequest.objects.get().reason == "E02 is wetted."
    assert at("another_reading", rejected) not in text_of(client.get(at("board_result", rejected)))

    told = text_of(as_seen_by(client, graders[1], reverse("certification:bench")))
    assert "asked for a regrading" in told
    assert rejected.number not in text_of(
        as_seen_by(client, graders[0], reverse("certification:bench"))
    )
    read(rejected, graders[1], at=timezone.now())
    told = text_of(as_seen_by(client, owner, at("board_result", rejected)))
    assert "who saw nothing of the earlier readings" in told
    assert "kept, no longer counted" in told


def test_whoever_may_read_again_is_shown_nothing_of_before(client, graders, rejected):
    owner = factories.make_user(person=rejected.person)
    client.force_login(owner)
    client.post(at("another_reading", rejected), {"reason": "E02 is wetted."})
    score = "85.0"
    assert score in text_of(as_seen_by(client, owner, at("board_result", rejected)))
    for name in ("board_detail", "board_result", "board_grade", "board_list"):
        address = reverse("assessments:board_list") if name == "board_list" else at(name, rejected)
        told = without_templates(as_seen_by(client, graders[1], address))
        assert score not in told, name
        assert 'class="verdict is-reject"' not in told, name
    told = text_of(as_seen_by(client, graders[1], at("board_result", rejected)))
    assert "you may give it" in told
    assert "to be regraded" in text_of(
        as_seen_by(client, graders[1], reverse("assessments:board_list"))
    )


@pytest.mark.parametrize("begun", ["asked for", "begun", "a stage signed"])
def test_no_address_shows_the_former_reading_before_the_other_is_signed(
    client, graders, criteria, files, begun
):
    board, photo, former, measured = read_in_full(make_board(), graders)
    client.force_login(factories.make_user(person=board.person))
    client.post(at("another_reading", board), {"reason": "E02 is wetted."})
    reader = graders[1]
    if begun != "asked for":
        other = begin(board, reader)
        judge(other, stages=["formed"])
    if begun == "a stage signed":
        sign(other, ["formed"])
    client.force_login(reader)
    correction = client.post(at("grading_correct", board, former.pk), {"reason": "Let me see."})
    assert "you may give it" in text_of(correction)
    assert not Grading.objects.filter(replaces__isnull=False).exists()
    for name, response in everywhere(client, reader, (board, photo, former, measured)):
        told = without_templates(response)
        assert NOTE not in told, name
        assert "432.5" not in told, name
        assert "86.6" not in told, name
        assert "Title 2 <small>critical" not in told, name
        if name != "stage_sign":  # It counts one's own rejects, also where there are none.
            assert 'class="verdict is-reject"' not in told, name
    photo.refresh_from_db()
    assert measured not in access.measurements_readable_by(reader, photo)
    for name in ("board_result", "board_sheet", "joint_rework"):
        told = as_seen_by(client, reader, addresses(board, photo, former, measured)[name])
        assert "you may give it" in text_of(told), name

    if begun == "asked for":
        other = begin(board, reader)
    left = ["soldered"] if begun == "a stage signed" else ["formed", "soldered"]
    judge(other, stages=left)
    sign(other, left)
    photo.refresh_from_db()
    assert measured in access.measurements_readable_by(reader, photo)
    assert as_seen_by(client, reader, at("board_result", board)).redirect_chain == []


@pytest.mark.parametrize("judges", [1, 2])
def test_nothing_is_sent_back_of_a_board_that_nobody_has_read(client, graders, judges):
    board = make_board(graders=judges)
    address = at("joint_rework", board, joint(board, "E02").pk)
    says = {1: "not rejected under a signature", 2: "Two graders judge"}[judges]
    assert says in text_of(as_seen_by(client, graders[0], address))
    assert says in text_of(client.post(address, {"codes": ["S-1"]}, follow=True))
    assert not Joint.objects.filter(make=2).exists()


def test_what_rests_on_the_board_is_said_before_and_after(client, graders, rejected):
    before = ports.register_rests_on(lambda board: ["certificate CA-C-00012"])
    try:
        owner = factories.make_user(person=rejected.person)
        told = text_of(as_seen_by(client, owner, at("another_reading", rejected)))
        assert "rests: certificate CA-C-00012" in told
        client.post(at("another_reading", rejected), {"reason": "E02 is wetted."})
        read(rejected, graders[1], at=timezone.now())
        for user in (factories.make_user("quality"), graders[0]):
            told = text_of(as_seen_by(client, user, at("board_result", rejected)))
            assert "certificate CA-C-00012" in told
            assert "for quality to decide" in told
        told = text_of(as_seen_by(client, owner, at("board_result", rejected)))
        assert "CA-C-00012" not in told
    finally:
        ports.register_rests_on(before)


def test_only_whoever_made_the_board_may_ask(client, graders, rejected):
    for user in (graders[0], factories.make_user("quality"), factories.make_user()):
        client.force_login(user)
        for ask in (client.get, client.post):
            assert ask(at("another_reading", rejected)).status_code == 404


# How many queries


def queries(client, address):
    client.get(address)  # The session is written with the first request of a minute.
    with CaptureQueriesContext(connection) as found:
        assert client.get(address).status_code == 200
    return len(found)


def test_a_list_of_boards_of_two_graders_asks_no_more_for_more_of_them(client, graders, criteria):
    client.force_login(graders[2])

    def fill(n):
        for _ in range(n):
            sign_all(begin(make_board(graders=2), graders[0]))
        return queries(client, reverse("assessments:board_list"))

    few = fill(1)
    assert fill(4) == few


def test_a_result_asks_no_more_for_more_joints_that_may_be_sent_back(client, graders, criteria):
    client.force_login(graders[1])

    def result(*rejected):
        board = make_board()
        sign_all(begin(board, graders[0]), rejected)
        return queries(client, at("board_result", board))

    assert result(("E01", "S-1"), ("E02", "S-1")) == result(("E01", "S-1"))


def sign_all(grading, rejected=()):
    judge(grading, rejected)
    sign(grading)
