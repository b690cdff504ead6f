"""A stage is signed as its page showed it, or not at all."""

import re
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection, connections, transaction
from django.urls import reverse

from assessments.models import Board, Grading, Judgement, StageSigning
from assessments.presenters.stage_shown import stage_shown
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements
from records.exceptions import ShownOtherwise
from tests import factories
from tests.assessments.together import somebody_waits_for_us
from tests.factories import NOW, PASSWORD
from tests.markup import Markup
from tests.signing import shown_on

pytestmark = pytest.mark.django_db


@pytest.fixture
def instructor(client):
    user = factories.make_user("instructor", password=PASSWORD)
    client.force_login(user)
    return user


@pytest.fixture
def reading(instructor):
    """A board of which everything is accepted."""
    factories.make_criteria_set()
    board = factories.make_board()
    grading = services.start_grading(board=board, grader=instructor, at=NOW)
    for joint in [*board_results.joints_that_count(board), None]:
        for criterion in board_results.criteria_for(grading, "soldered", joint):
            say(grading, joint, criterion.code)
    return grading


def say(grading, joint, code, outcome="accept", at=NOW, **seen):
    judgements.judge(
        grading=Grading.objects.get(pk=grading.pk),
        joint=joint,
        criterion=grading.criteria_set.criteria.get(code=code),
        outcome=outcome,
        seen=judgements.Circumstances(**seen),
        at=at,
    )


def address(grading):
    return reverse("assessments:stage_sign", args=[grading.board.number, "soldered"])


def text(response) -> str:
    return Markup(response.content.decode()).replace("\xa0", " ")


def test_what_another_window_judged_is_told_and_nothing_is_signed(client, reading):
    shown = shown_on(client.get(address(reading)))
    say(reading, reading.board.joints.get(position__name="E02"), "S-1", "reject", note="A ball")
    refused = client.post(address(reading), shown | {"password": PASSWORD})
    assert refused.status_code == 422
    said = text(refused)
    assert "What you were shown has changed since, so nothing was signed." in said
    assert "E02, Title 1 (S-1)" in said
    assert "<del>accept, by eye, board in hand</del>" in said
    assert "<b>reject, by eye, board in hand, “A ball”</b>" in said
    [told] = re.findall(r'<dl class="changes">.*?</dl>', said, re.DOTALL)
    assert "E01" not in told
    assert not StageSigning.objects.exists()
    signed = client.post(address(reading), shown_on(refused) | {"password": PASSWORD})
    assert signed.status_code == 302
    assert StageSigning.objects.get().result["rejected"] == {"E02": ["S-1"]}


def test_a_wrong_password_under_what_changed_is_no_wrong_try(client, instructor, reading):
    shown = shown_on(client.get(address(reading)))
    say(reading, reading.board.joints.first(), "S-1", "reject")
    for _time in range(12):
        refused = client.post(address(reading), shown | {"password": "not mine"})
        assert "That is not your password" not in text(refused)
    signed = client.post(address(reading), shown_on(refused) | {"password": PASSWORD})
    assert signed.status_code == 302


@pytest.mark.parametrize("shown", ["", "bm90aGluZw==", "x", "A" * 100_000])
def test_a_form_without_what_its_page_showed_signs_nothing(client, reading, shown):
    refused = client.post(address(reading), {"password": PASSWORD, "shown": shown})
    assert refused.status_code == 422
    assert "This page came without what it showed, so nothing was signed." in text(refused)
    assert not StageSigning.objects.exists()
    again = client.post(address(reading), shown_on(refused) | {"password": PASSWORD})
    assert again.status_code == 302


def test_a_photograph_that_came_is_told_beside_what_changed_and_alone_stops_nothing(
    client, instructor, reading
):
    shown = shown_on(client.get(address(reading)))
    joint = reading.board.joints.get(position__name="E02")
    photo = factories.make_photo(reading.board, joint, stage="soldered", original_name="E02_2.jpg")
    say(reading, joint, "S-1", "reject")
    said = text(client.post(address(reading), shown | {"password": PASSWORD}))
    assert f"{photo.original_name}, photograph of E02" in said
    Judgement.objects.filter(grading=reading, joint=joint).update(outcome="accept")
    shown = shown_on(client.get(address(reading)))
    factories.make_photo(reading.board, joint, stage="soldered", original_name="E02_3.jpg")
    assert client.post(address(reading), shown | {"password": PASSWORD}).status_code == 302


def test_what_is_the_same_in_words_and_said_anew_is_not_what_was_shown(client, reading):
    shown = shown_on(client.get(address(reading)))
    joint = reading.board.joints.first()
    say(reading, joint, "S-1", at=NOW.replace(second=59))
    said = text(client.post(address(reading), shown | {"password": PASSWORD}))
    assert "Something that is signed beside what the page says in words." in said
    assert not StageSigning.objects.exists()


def test_pressed_twice_or_gone_back_to_signs_once(client, reading):
    shown = shown_on(client.get(address(reading)))
    assert client.post(address(reading), shown | {"password": PASSWORD}).status_code == 302
    again = client.post(address(reading), shown | {"password": PASSWORD}, follow=True)
    assert "There is nothing of yours to sign on this board." in text(again)
    assert StageSigning.objects.count() == 1


def test_the_page_of_a_reading_that_was_replaced_signs_nothing_of_the_next(
    client, instructor, reading
):
    shown = shown_on(client.get(address(reading)))
    client.post(address(reading), shown | {"password": PASSWORD})
    services.correct_grading(grading=reading, grader=instructor, reason="One more look.", at=NOW)
    refused = client.post(address(reading), shown | {"password": PASSWORD})
    assert refused.status_code == 422
    assert StageSigning.objects.count() == 1


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_a_judgement_made_while_somebody_waits_to_sign_is_seen_under_the_lock(reading):
    shown, joint = stage_shown(reading, "soldered", NOW).digest, reading.board.joints.first()

    def sign():
        try:
            services.sign_stage(
                grading=Grading.objects.get(pk=reading.pk),
                stage="soldered",
                signer=reading.grader,
                proof="password",
                at=NOW,
                shown=shown,
            )
        finally:
            connections.close_all()

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            Board.objects.select_for_update().get(pk=reading.board_id)
            waiting = pool.submit(sign)
            while not somebody_waits_for_us():
                assert not waiting.done(), waiting.result()
            say(reading, joint, "S-1", "reject")
        with pytest.raises(ShownOtherwise):
            waiting.result(30)
    assert not StageSigning.objects.exists()
