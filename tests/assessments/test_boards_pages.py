"""The pages of boards: made, labelled, handed in, kept; and who sees which."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode

from assessments.models import Board, BoardOutcome
from assessments.services import grading
from assessments.services.board_corrections import cancel_boards
from people.templatetags.look import qr
from tests.factories import (
    NOW,
    TODAY,
    make_board,
    make_certificate,
    make_criteria_set,
    make_exercise,
    make_person,
    make_revision,
    make_scope,
    make_session,
    make_site,
    make_user,
)

pytestmark = pytest.mark.django_db

NEW = "/boards/new/"


@pytest.fixture
def instructor(client):
    user = make_user("instructor")
    client.force_login(user)
    return user


def page(client, address, **query) -> str:
    response = client.get(address, query)
    assert response.status_code == 200, response
    return response.content.decode()


def address_of(board, name="board_detail"):
    return reverse(f"assessments:{name}", args=[board.number])


def decided(board):
    BoardOutcome.objects.create(
        board=board, complete=True, passed=True, score=Decimal("96.5"), decided_at=NOW
    )
    return board


# Making


def fields(exercise_, **more):
    return {
        "exercise": exercise_.pk,
        "purpose": "practice",
        "alloy": "Sn63Pb37",
        "handed_out_on": TODAY.isoformat(),
        **more,
    }


def test_a_board_is_made_for_one_trainee_and_its_label_comes_next(client, instructor):
    person = make_person(full_name="Jory Penhale")
    response = client.post(NEW, fields(make_exercise(), person=person.employee_number))
    board = Board.objects.get()
    assert response.url == f"/boards/labels/?number={board.number}"
    assert (board.person, board.site, board.made_by) == (person, person.site, instructor)
    assert board.number in page(client, response.url)


@pytest.mark.usefixtures("instructor")
@pytest.mark.parametrize(
    ("said", "alloy"), [("", "Sn96Ag4"), (" Sn62Pb36Ag2 ", "Sn62Pb36Ag2")], ids=["empty", "said"]
)
def test_an_alloy_left_empty_is_the_one_of_the_exercise(client, said, alloy):
    form = page(client, NEW)
    assert "Left empty: what the exercise calls for, else Sn63Pb37." in form
    assert '<option value="Sn96.5Ag3Cu0.5">' in form
    person, exercise_ = make_person(), make_exercise(alloy="Sn96Ag4")
    client.post(NEW, fields(exercise_, person=person.employee_number, alloy=said))
    assert Board.objects.get().alloy == alloy


@pytest.mark.usefixtures("instructor")
@pytest.mark.parametrize("said", ["jory penhale", "Penhale"])
def test_a_trainee_is_also_found_by_a_name_that_only_one_has(client, said):
    make_person(full_name="Jory Penhale")
    assert client.post(NEW, fields(make_exercise(), person=said)).status_code == 302


@pytest.mark.usefixtures("instructor")
def test_boards_are_made_for_a_whole_class_except_who_has_left(client):
    here = [make_person() for _ in range(3)]
    left = make_person(full_name="Farah Nadeem", left_on=TODAY - timedelta(days=9))
    session = make_session(people=(*here, left))
    response = client.post(NEW, fields(make_exercise(), session=session.number), follow=True)
    assert {board.person for board in Board.objects.all()} == set(here)
    assert "Farah Nadeem has left" in response.content.decode()


@pytest.mark.usefixtures("instructor")
def test_handing_out_again_says_first_who_holds_that_board(client):
    holder, other = make_person(full_name="Jory Penhale"), make_person()
    session, exercise = make_session(people=(holder, other)), make_exercise()
    held = make_board(holder, exercise)
    asked = fields(exercise, session=session.number)
    refused = client.post(NEW, asked)
    told = refused.content.decode()
    assert refused.status_code == 422
    assert "Jory Penhale" in told
    assert f'name="held" value="{held.number}"' in " ".join(told.split())
    assert Board.objects.count() == 1
    client.post(NEW, {**asked, "held": [held.number], "holders": "leave_out"})
    assert [board.person for board in Board.objects.exclude(pk=held.pk)] == [other]
    again = client.post(NEW, {**asked, "held": [held.number], "holders": "again"})
    assert again.status_code == 422  # The other one holds one now, of which nobody was told.
    everything = list(Board.objects.values_list("number", flat=True))
    client.post(NEW, {**asked, "held": everything, "holders": "again"})
    assert Board.objects.count() == 4


@pytest.mark.usefixtures("instructor")
def test_whoever_handed_the_board_in_or_had_it_cancelled_holds_none(client):
    person, exercise = make_person(), make_exercise()
    make_board(person, exercise, handed_in_at=NOW)
    make_board(person, exercise, cancelled_at=NOW)
    make_board(person)
    assert client.post(NEW, fields(exercise, person=person.employee_number)).status_code == 302


@pytest.mark.usefixtures("instructor")
def test_purpose_is_asked_and_proposed_from_what_the_class_leads_to(client):
    person, exercise, scope = make_person(), make_exercise(), make_scope(title="Turrets by hand")
    session = make_session(people=(person,))
    session.course_revision.lessons.create(order=1, title="Solder", minutes=9, exercise=exercise)

    def proposed(**query):
        told = client.get(NEW, query)
        return told.context["form"]["purpose"].value(), told.content.decode()

    assert proposed()[0] == ""
    assert proposed(session=session.number)[0] == "practice"
    make_revision(scope, exercise=exercise)
    purpose, told = proposed(session=session.number)
    assert purpose == "qualification"
    assert "Boards for qualification count for: Turrets by hand" in told
    assert proposed(session=session.number, exercise=make_exercise().code)[0] == "practice"
    make_certificate(person, scope)
    assert proposed(session=session.number)[0] == "requalification"
    assert proposed(exercise=exercise.code, person=person.employee_number)[0] == "requalification"
    session.enrolments.create(person=make_person())
    assert proposed(session=session.number)[0] == "qualification"
    unsaid = client.post(NEW, fields(exercise, session=session.number, purpose=""))
    assert unsaid.status_code == 422
    assert not Board.objects.exists()


# Putting right


def put_right(client, *boards, **sent):
    numbers = [("number", board.number) for board in boards]
    address = f"{reverse('assessments:boards_correct')}?{urlencode(numbers)}"
    data = {"boards": [board.number for board in boards], "reason": "Wrong tick.", **sent}
    return client.post(address, data)


@pytest.mark.usefixtures("instructor")
def test_boards_are_cancelled_with_a_reason_and_say_so(client):
    board, other = make_board(), make_board()
    labels = page(client, "/boards/labels/", number=[board.number, other.number])
    assert f"/boards/correct/?number={board.number}&amp;number={other.number}" in labels
    refused = put_right(client, board, other, act="cancel", reason=" ")
    assert refused.status_code == 422
    assert "Say why" in refused.content.decode()
    assert put_right(client, board, act="cancel").url == address_of(board)
    told = page(client, address_of(board))
    assert "Wrong tick." in told
    for name in ("board_hand_in", "board_grade", "board_take_back", "board_piece"):
        assert address_of(board, name) not in told
    assert "/boards/correct/" not in told
    assert "cancelled" in page(client, "/boards/", state="cancelled")
    assert client.get(address_of(board, "board_piece")).url == address_of(board)
    grade = client.get(address_of(board, "board_grade"), follow=True).content.decode()
    assert "was cancelled on" in grade
    pressed_twice = put_right(client, board, act="cancel")
    assert "was cancelled on" in pressed_twice.content.decode()
    make_criteria_set()
    reading = grading.start_grading(board=other, grader=make_user("instructor"), at=NOW)
    reading.judgements.create(
        criterion=reading.criteria_set.criteria.first(),
        joint=other.joints.first(),
        stage="soldered",
        outcome="accept",
        how="at_board",
    )
    told = page(client, "/boards/correct/", number=other.number)
    assert "Cancel the boards" not in told
    assert "Correct the purpose" in told
    assert "is judged, so it is not cancelled" in told


@pytest.mark.usefixtures("instructor")
def test_purpose_of_a_whole_class_day_is_corrected_at_once(client):
    people = (make_person(), make_person())
    session = make_session(people=people)
    boards = [make_board(person, session=session) for person in people]
    day = page(client, reverse("assessments:class_day", args=[session.number]))
    address = f"/boards/correct/?session={session.number}"
    assert address in day
    form = page(client, address)
    assert form.count("checked") == 2
    sent = {"boards": [board.number for board in boards], "reason": "So.", "act": "purpose"}
    unsaid = client.post(address, sent)
    assert "Choose what the boards are for" in unsaid.content.decode()
    client.post(address, {**sent, "purpose": "requalification"})
    assert {board.purpose for board in Board.objects.all()} == {"requalification"}


@pytest.mark.usefixtures("instructor")
def test_piece_that_is_to_be_kept_is_not_offered_for_disposal(client):
    board = make_board(kept_until=timezone.localdate() + timedelta(days=2))
    told = page(client, address_of(board, "board_piece"))
    assert "It is to be kept through" in told
    assert "Dispose of the piece" not in told
    board.kept_until = None
    board.save(update_fields=["kept_until"])
    assert "Dispose of the piece" in page(client, address_of(board, "board_piece"))


@pytest.mark.usefixtures("instructor")
def test_boards_of_others_and_own_ones_are_unknown_there(client, instructor):
    strange = make_board(make_person(make_site("Aldergate", "AL")))
    own = make_board(instructor.person)
    for board in (strange, own):
        assert client.get("/boards/correct/", {"number": board.number}).status_code == 404
        assert put_right(client, board, act="cancel").status_code == 404
    elsewhere = make_session(make_site("Aldergate", "AL"))
    assert client.get("/boards/correct/", {"session": elsewhere.number}).status_code == 404


def test_cancelled_board_is_read_by_its_maker_and_offers_nothing(client):
    user = make_user()
    board = make_board(user.person)
    cancel_boards(boards=[board], reason="Handed out twice.", actor=make_user("instructor"), at=NOW)
    client.force_login(user)
    told = page(client, address_of(board))
    assert "Handed out twice." in told
    for name in ("board_hand_in", "board_own_reading"):
        assert address_of(board, name) not in told
    refused = client.post(address_of(board, "board_hand_in"), follow=True).content.decode()
    assert "was cancelled on" in refused


@pytest.mark.usefixtures("instructor")
def test_people_of_a_class_can_be_left_out(client):
    first, second = make_person(), make_person()
    session = make_session(people=(first, second))
    form = page(client, NEW, session=session.number)
    assert form.count("checked") == 2
    chosen = fields(make_exercise(), session=session.number, ticked="1")
    none = client.post(NEW, chosen)
    assert none.status_code == 422
    assert "Tick at least one person" in none.content.decode()
    client.post(NEW, {**chosen, "people": [first.employee_number]})
    assert Board.objects.get().person == first


@pytest.mark.usefixtures("instructor")
def test_a_class_of_long_ago_is_offered_only_if_asked_for(client):
    day = timezone.localdate() - timedelta(days=91)
    old = make_session(people=(make_person(),), starts_on=day, ends_on=day)
    assert old.number not in page(client, NEW)
    assert old.number in page(client, NEW, session=old.number)


@pytest.mark.usefixtures("instructor")
def test_the_form_is_filled_in_from_the_address(client):
    exercise, person = make_exercise(title="Hooks"), make_person()
    told = page(client, NEW, exercise=exercise.code, person=person.employee_number)
    assert f'<option value="{exercise.pk}" selected>' in told
    assert f'value="{person.employee_number}"' in told


@pytest.mark.usefixtures("instructor")
@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({}, "Say who the board is for"),
        ({"person": "99999"}, "Nobody at your sites has this number or name"),
        ({"person": "twin"}, "Several people have this name"),
        ({"person": "11111", "purpose": "production"}, "names the unit or the work order"),
        ({"person": "11111", "handed_out_on": "soon"}, "Enter a valid date"),
        ({"person": "11111", "exercise": ""}, "This field is required"),
    ],
    ids=["nobody", "unknown", "two-of-that-name", "production", "no-day", "no-exercise"],
)
def test_what_is_missing_is_said_and_nothing_is_made(client, more, says):
    make_person(employee_number="11111")
    make_person(full_name="Twin One")
    make_person(full_name="Twin Two")
    response = client.post(NEW, fields(make_exercise(), **more))
    assert response.status_code == 422
    assert says in response.content.decode()
    assert not Board.objects.exists()


@pytest.mark.usefixtures("instructor")
def test_one_trainee_and_a_class_at_once_are_refused(client):
    person = make_person()
    session = make_session(people=(person,))
    more = {"person": person.employee_number, "session": session.number}
    response = client.post(NEW, fields(make_exercise(), **more))
    assert response.status_code == 422
    assert "not both" in response.content.decode()


@pytest.mark.usefixtures("instructor")
def test_people_and_classes_of_another_site_are_unknown_here(client):
    stranger = make_person(make_site("Aldergate", "AL"))
    session = make_session(stranger.site, people=(stranger,))
    assert (
        client.post(NEW, fields(make_exercise(), person=stranger.employee_number)).status_code
        == 422
    )
    assert client.post(NEW, fields(make_exercise(), session=session.number)).status_code == 422


@pytest.mark.parametrize("role", ["operator", "line_lead", "quality", "administrator"])
def test_only_instructors_make_boards(client, role):
    client.force_login(make_user(role))
    assert client.get(NEW).status_code == 403
    assert client.post(NEW, fields(make_exercise())).status_code == 403


# Labels


@pytest.mark.usefixtures("instructor")
def test_labels_come_in_the_order_asked_for_with_a_code_each(client, settings):
    settings.PUBLIC_URL = "https://boards.example"
    first, second = make_board(), make_board()
    told = page(client, "/boards/labels/", number=[second.number, first.number, second.number])
    assert told.index(f">{second.number}<") < told.index(f">{first.number}<")
    for board in (first, second):
        address = f"https://boards.example/boards/{board.number}/"
        assert qr(address, f"Code that opens board {board.number}") in told
    assert first.person.full_name in told
    assert first.exercise.title in told


def test_labels_of_boards_that_may_not_be_seen_answer_404(client, instructor):
    stranger = make_board(make_person(make_site("Aldergate", "AL")))
    own = make_board()
    labels = "/boards/labels/"
    assert client.get(labels).status_code == 404
    assert client.get(labels, {"number": [own.number, stranger.number]}).status_code == 404
    assert client.get(labels, {"number": "CA-B-99999"}).status_code == 404


# One board


def elsewhere(role):
    return make_user(role, site=make_site("Aldergate", "AL"))


@pytest.mark.parametrize(
    ("who", "may"),
    [
        (lambda: make_user("instructor"), True),
        (lambda: make_user("quality"), True),
        (make_user, False),
        (lambda: make_user("line_lead"), False),
        (lambda: make_user("administrator"), False),
        (lambda: elsewhere("instructor"), False),
        (lambda: elsewhere("quality"), False),
    ],
    ids=[
        "instructor",
        "quality",
        "operator",
        "lead",
        "administrator",
        "instructor-elsewhere",
        "quality-elsewhere",
    ],
)
def test_a_board_is_seen_by_instructors_and_quality_of_its_site(client, who, may):
    client.force_login(who())
    assert client.get(address_of(make_board())).status_code == (200 if may else 404)


def test_its_owner_sees_it_hands_it_in_and_does_not_grade_it(client):
    user = make_user()
    client.force_login(user)
    board = make_board(user.person)
    told = page(client, address_of(board))
    assert reverse("assessments:board_grade", args=[board.number]) not in told
    assert reverse("assessments:board_own_reading", args=[board.number]) in told
    before = timezone.now()
    response = client.post(address_of(board, "board_hand_in"), follow=True)
    assert "waits to be graded" in response.content.decode()
    board.refresh_from_db()
    assert board.handed_in_at is not None
    assert board.handed_in_at >= before
    again = client.post(address_of(board, "board_hand_in"), follow=True)
    assert "was handed in on" in again.content.decode()


@pytest.mark.parametrize("role", ["operator", "line_lead", "quality", "administrator"])
def test_nobody_else_hands_it_in(client, role):
    client.force_login(make_user(role))
    board = make_board()
    assert client.post(address_of(board, "board_hand_in")).status_code == 404
    board.refresh_from_db()
    assert board.handed_in_at is None


def test_handing_in_asks_once_and_is_a_post_by_somebody_signed_in(client):
    board = make_board()
    assert client.post(address_of(board, "board_hand_in")).status_code == 302
    client.force_login(make_user("instructor"))
    assert "Is the work on this board finished?" in page(client, address_of(board, "board_hand_in"))
    board.refresh_from_db()
    assert board.handed_in_at is None


def test_hand_in_is_offered_until_it_is_done_and_taking_it_back_until_somebody_judges(client):
    user = make_user()
    client.force_login(user)
    board = make_board(user.person)
    hand_in, take_back = (address_of(board, name) for name in ("board_hand_in", "board_take_back"))
    told = page(client, address_of(board))
    assert (hand_in in told, take_back in told) == (True, False)
    client.post(hand_in)
    told = page(client, address_of(board))
    assert (hand_in in told, take_back in told) == (False, True)
    assert client.get(hand_in).url == address_of(board)
    assert "is with the trainee again" in client.post(take_back, follow=True).content.decode()
    client.post(hand_in)
    make_criteria_set()
    grading.start_grading(board=board, grader=make_user("instructor"), at=NOW)
    told = page(client, address_of(board))
    assert (hand_in in told, take_back in told) == (False, False)
    refused = client.post(take_back, follow=True).content.decode()
    assert "begun to judge" in refused


@pytest.mark.usefixtures("instructor")
def test_an_instructor_is_led_to_grading_and_then_to_the_result(client):
    board = make_board(handed_in_at=NOW)
    assert reverse("assessments:board_grade", args=[board.number]) in page(
        client, address_of(board)
    )
    decided(board)
    told = page(client, address_of(board))
    assert reverse("assessments:board_result", args=[board.number]) in told
    assert "passed" in told
    assert "96.5" in told


@pytest.mark.usefixtures("instructor")
def test_of_two_graders_nothing_shows_before_both_have_signed(client):
    board = make_board(exercise=make_exercise(graders=2), handed_in_at=NOW)
    BoardOutcome.objects.create(board=board, complete=False, score=Decimal("71.25"))
    told = page(client, address_of(board))
    assert "71.2" not in told
    assert "No outcome is shown before it is signed" in told


def test_an_unknown_board_answers_404(client, instructor):
    assert client.get("/boards/CA-B-99999/").status_code == 404
    assert client.get("/boards/CA-B-99999/piece/").status_code == 404


# The piece


@pytest.mark.usefixtures("instructor")
def test_the_piece_is_kept_checked_and_disposed_of(client):
    board = make_board()
    address = address_of(board, "board_piece")
    assert page(client, address)
    kept = client.post(address, {"act": "keep", "keep-kept_where": "cabinet 3"})
    assert kept.status_code == 302
    checked = client.post(
        address,
        {
            "act": "check",
            "check-kind": "section of E01",
            "check-result": "filled",
            "check-done_on": timezone.localdate().isoformat(),
        },
    )
    gone = client.post(address, {"act": "dispose", "dispose-disposed_how": "scrapped"})
    assert (checked.status_code, gone.status_code) == (302, 302)
    board.refresh_from_db()
    assert (board.kept_where, board.disposed_how) == ("cabinet 3", "scrapped")
    told = page(client, address)
    assert "section of E01" in told
    assert "scrapped" in told


@pytest.mark.usefixtures("instructor")
def test_what_does_not_fit_the_piece_is_refused_on_its_page(client):
    board = make_board(kept_until=timezone.localdate() + timedelta(days=5))
    address = address_of(board, "board_piece")
    early = client.post(address, {"act": "dispose", "dispose-disposed_how": "scrapped"})
    assert early.status_code == 422
    assert "is to be kept through" in early.content.decode()
    assert client.post(address, {"act": "melt"}).status_code == 422


def test_the_piece_is_the_instructors_and_not_ones_own(client):
    user = make_user("instructor")
    client.force_login(user)
    assert client.get(address_of(make_board(user.person), "board_piece")).status_code == 404
    client.force_login(make_user("quality"))
    assert client.get(address_of(make_board(), "board_piece")).status_code == 404
