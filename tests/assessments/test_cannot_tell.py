"""A grader who cannot tell from a photograph leaves the criterion open and asks for something."""

from uuid import uuid4

import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse

from assessments import access
from assessments.exceptions import AssessmentError, StageNotReady
from assessments.models import Board, CannotTell, Judgement
from assessments.queries.board_for_grader import BoardForGrader
from assessments.services import grading, judgements
from assessments.services.judgements import Circumstances, NamedPlace
from assessments.services.undo import undo
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests import factories
from tests.factories import NOW

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


@pytest.fixture
def board():
    factories.make_criteria_set()
    person = factories.make_person()
    factories.make_user(person=person)
    return factories.make_board(person, factories.make_exercise(("turret",)))


@pytest.fixture
def instructor(client, board):
    user = factories.make_user("instructor", site=board.site)
    client.force_login(user)
    return user


@pytest.fixture
def photo(board):
    return factories.make_photo(board, board.joints.first())


def ask(board, grader, code="S-2", asks="photo", **more):
    return judgements.say_cannot_tell(
        boards=Board.objects.all(),
        number=board.number,
        grader=grader,
        place=NamedPlace("soldered", "E01", code),
        asks=asks,
        photo=more.pop("photo", None),
        note=more.pop("note", "From the left, lamp low."),
        at=NOW,
        **more,
    )


def judge(board, grader, code, outcome="accept"):
    reading = grading.open_grading(board, grader)
    joint = None if code == "S-9" else board.joints.get()
    return judgements.judge(
        grading=reading,
        criterion=reading.criteria_set.criteria.get(code=code),
        joint=joint,
        outcome=outcome,
        seen=Circumstances(),
        at=NOW,
    )


def open_for(user):
    return list(access.cannot_tell_visible_to(user))


def send(client, board, outcome="ask_photo", **more):
    data = {
        "stage": "soldered", "joint": "E01", "criterion": "S-2", "outcome": outcome,
        "how": "photograph", "note": "From the left.",
    }  # fmt: skip
    url = reverse("assessments:board_judge", args=[board.number])
    return client.post(url, data | more, follow=True)


def test_the_criterion_stays_open_and_the_stage_is_not_signed(board, instructor, photo):
    asked = ask(board, instructor, photo=photo)
    for code in ("S-1", "S-3", "S-9"):
        judge(board, instructor, code)
    reading = grading.open_grading(board, instructor)
    assert not Judgement.objects.filter(criterion__code="S-2").exists()
    with pytest.raises(StageNotReady):
        grading.sign_stage(
            grading=reading, stage="soldered", signer=instructor, proof="password", at=NOW
        )
    assert open_for(instructor) == [asked]


def test_a_judgement_answers_it_and_taken_back_it_is_asked_again(board, instructor):
    asked = ask(board, instructor)
    judge(board, instructor, "S-2")
    assert open_for(instructor) == []
    undo(grading=asked.grading)
    assert open_for(instructor) == [asked]


def test_it_is_taken_back_by_undo_with_what_was_judged_before(board, instructor):
    grading.start_grading(board=board, grader=instructor, at=NOW)
    before = judge(board, instructor, "S-2", "reject")
    asked = ask(board, instructor)
    assert not Judgement.objects.exists()
    undo(grading=asked.grading)
    assert open_for(instructor) == []
    again = Judgement.objects.get()
    assert (again.outcome, again.joint, again.judged_at) == (
        "reject", before.joint, before.judged_at,
    )  # fmt: skip
    asked.refresh_from_db()
    assert asked.taken_back_at is not None


def test_sent_twice_it_is_asked_once(board, instructor):
    key = uuid4()
    assert ask(board, instructor, key=key) is not None
    assert ask(board, instructor, key=key) is None
    assert CannotTell.objects.count() == 1


def test_accepting_the_rest_passes_over_what_could_not_be_told(board, instructor):
    asked = ask(board, instructor, "S-3")
    count = judgements.accept_the_rest(
        grading=asked.grading, stage="soldered", joints=[board.joints.get()],
        seen=Circumstances(), at=NOW,
    )  # fmt: skip
    assert count == 1
    assert list(Judgement.objects.values_list("criterion__code", flat=True)) == ["S-2"]


def test_what_is_asked_is_in_the_trail_and_does_not_change(board, instructor, photo):
    asked = ask(board, instructor, photo=photo)
    entry = TrailEntry.objects.latest("number")
    assert entry.act == "could not tell from a photograph"
    with pytest.raises(DatabaseError), transaction.atomic():
        CannotTell.objects.update(note="Something else")
    undo(grading=asked.grading)
    with pytest.raises(DatabaseError), transaction.atomic():
        CannotTell.objects.update(taken_back_at=None)
    faults = [str(fault) for fault in verify_records().faults]
    assert [fault for fault in faults if "cannottell" in fault] == []


def test_nothing_is_asked_of_a_signed_stage_or_of_another_boards_photograph(board, instructor):
    other = factories.make_photo(factories.make_board())
    with pytest.raises(AssessmentError, match="another board"):
        ask(board, instructor, photo=other)
    grading.start_grading(board=board, grader=instructor, at=NOW)
    for code in ("S-1", "S-2", "S-3", "S-9"):
        judge(board, instructor, code)
    grading.sign_stage(
        grading=grading.open_grading(board, instructor),
        stage="soldered", signer=instructor, proof="password", at=NOW,
    )  # fmt: skip
    with pytest.raises(AssessmentError, match="signed"):
        ask(board, instructor)
    assert not CannotTell.objects.exists()


def test_whoever_can_take_another_photograph_sees_it_and_nobody_else(board, instructor):
    asked = ask(board, instructor)
    maker = board.person.user
    colleague = factories.make_user("instructor", site=board.site)
    there = factories.make_user("instructor", site=factories.make_site("Aldergate", "AL"))
    quality = factories.make_user("quality", site=board.site)
    seen = {user: open_for(user) for user in (maker, colleague, there, quality)}
    assert seen == {maker: [asked], colleague: [asked], there: [], quality: []}


def test_the_second_of_two_graders_sees_nothing_of_it(client, photo, instructor):
    person = factories.make_person(photo.board.site)
    maker = factories.make_user(person=person)
    two = factories.make_board(person, factories.make_exercise(("turret",), graders=2))
    asked = ask(two, instructor, note="Whether it wets behind.")
    second = factories.make_user("instructor", site=two.site)
    assert open_for(second) == []
    assert (open_for(maker), open_for(instructor)) == ([asked], [asked])
    client.force_login(second)
    addresses = [reverse("assessments:board_list"), reverse("certification:bench")]
    for name in ("board_detail", "board_grade"):
        addresses.append(reverse(f"assessments:{name}", args=[two.number]))
    for name in addresses:
        page = client.get(name).content.decode()
        assert "Whether it wets behind" not in page, name
        assert "asked for." not in page, name
    assert BoardForGrader(two, second, own=False).cannot_tell(
        two.joints.get(), asked.criterion
    ) is None  # fmt: skip


def test_the_page_says_what_is_asked_and_goes_on_to_what_is_left(client, board, instructor, photo):
    page = send(client, board, photo=photo.key)
    text = page.content.decode()
    asked = CannotTell.objects.get()
    assert (asked.asks, asked.photo, asked.note) == ("photo", photo, "From the left.")
    assert page.context["screen"].line.criterion.code == "S-3"
    assert "photograph asked for" in text
    grade = reverse("assessments:board_grade", args=[board.number])
    back = client.get(grade, {"stage": "soldered", "joint": "E01", "criterion": "S-2"})
    assert "You could not tell, and asked for another photograph." in back.content.decode()
    assert back.context["grading_state"]["asked"] == {
        "E01": {"S-2": {"asks": "photo", "note": "From the left."}},
        "board": {},
    }
    detail = client.get(reverse("assessments:board_detail", args=[board.number])).content.decode()
    assert "another photograph is asked for." in detail
    client.force_login(board.person.user)
    for name in ("assessments:board_list", "certification:my_card"):
        listed = client.get(reverse(name)).content.decode()
        assert "another photograph is asked for." in listed, name
    client.force_login(instructor)
    bench = client.get(reverse("certification:bench")).content.decode()
    assert "another photograph is asked for." in bench


def test_the_script_is_answered_with_a_word_and_told_what_undo_brings_back(
    client, board, instructor
):
    json = {"Accept": "application/json"}
    data = {"stage": "soldered", "joint": "E01", "criterion": "S-2", "outcome": "ask_board",
            "how": "at_board", "note": ""}  # fmt: skip
    answer = client.post(
        reverse("assessments:board_judge", args=[board.number]), data, headers=json
    )
    assert answer.json() == {"saved": True}
    assert CannotTell.objects.get().asks == "board"
    back = client.post(reverse("assessments:board_undo", args=[board.number]), {}, headers=json)
    [changed] = back.json()["changed"]
    assert (changed["judged"], changed["asked"]) == (None, None)


def test_a_maker_judging_for_themselves_asks_nobody(client, board):
    client.force_login(board.person.user)
    data = {"stage": "soldered", "joint": "E01", "criterion": "S-2", "outcome": "ask_photo"}
    answer = client.post(reverse("assessments:own_judge", args=[board.number]), data)
    assert answer.status_code == 422
    assert not CannotTell.objects.exists()
    assert not Judgement.objects.exists()
