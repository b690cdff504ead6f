"""Proposing a class and deciding on it: one proof, a signature for each, and what stays behind."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from assessments.models import Board
from certification.models import Certificate, Proposal
from certification.services import events
from certification.services.acts import Act
from records.models import Signature
from tests.factories import (
    PASSWORD,
    make_board,
    make_certificate,
    make_exercise,
    make_passed_board,
    make_person,
    make_revision,
    make_scope,
    make_session,
    make_site,
    make_user,
)
from training.models import Lesson

pytestmark = pytest.mark.django_db

NEW, DECIDE = "/proposals/new/", "/proposals/decide/"


@pytest.fixture
def now():
    return timezone.now()


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def scope():
    return make_scope(title="Terminals, operator")


@pytest.fixture
def exercise():
    return make_exercise()


@pytest.fixture
def revision(scope, exercise):
    return make_revision(scope, exercise=exercise)


@pytest.fixture
def instructor():
    return make_user("instructor", password=PASSWORD)


@pytest.fixture
def quality():
    return make_user("quality", password=PASSWORD)


@pytest.fixture
def trainees():
    return [make_person(full_name=name) for name in ("Ada Brisk", "Ben Colt", "Cy Dunne")]


@pytest.fixture
def passed(trainees, exercise, revision, instructor, now):
    """The first two have passed the board that the scheme asks for."""
    for person in trainees[:2]:
        make_passed_board(person, exercise, grader=instructor, signed_at=now)
    return trainees[:2]


@pytest.fixture
def session(trainees, exercise, instructor, today):
    made = make_session(
        people=tuple(trainees),
        instructor=instructor,
        starts_on=today - timedelta(days=2),
        ends_on=today,
    )
    Lesson.objects.create(
        course_revision=made.course_revision, order=1, title="Wrap", minutes=60, exercise=exercise
    )
    return made


def names(rows):
    return [row.person.full_name for row in rows]


def rows_on(client, address=NEW):
    """What can be ticked on a page, as it shows it now."""
    screen = client.get(address).context["screen"]
    return screen.ready if address.startswith(NEW) else screen.issuable


def sent(rows):
    """What the page sends of these rows where all of them are ticked."""
    return {
        "ticked": [row.key for row in rows],
        **{f"shown-{row.key}": row.shown for row in rows},
        **{f"only-{row.key}": row.restriction for row in rows},
    }


def propose(client, rows, address=NEW, **fields):
    return client.post(
        address, {"note": "", "password": PASSWORD, **sent(rows), **fields}, follow=True
    )


def decide(client, rows, **fields):
    return client.post(DECIDE, {"password": PASSWORD, **sent(rows), **fields}, follow=True)


def queries_of(client, address):
    client.get(address)  # What is read once and kept is not counted.
    with CaptureQueriesContext(connection) as queries:
        client.get(address)
    return len(queries)


def said(response):
    return " ".join(str(message) for message in response.context["messages"])


@pytest.fixture
def proposals(client, instructor, passed):
    client.force_login(instructor)
    propose(client, rows_on(client))
    return list(Proposal.objects.order_by("person__full_name"))


# Who meets a scheme


def test_class_is_one_list_with_what_each_lacks(client, instructor, passed, session):
    client.force_login(instructor)

    response = client.get(f"{NEW}?session={session.number}")

    screen = response.context["screen"]
    assert names(screen.ready) == ["Ada Brisk", "Ben Colt"]
    assert names(screen.others) == ["Cy Dunne"]
    page = response.content.decode()
    assert "0 of 1 board passed" in page
    assert f"exercise={screen.others[0].lacking[0].exercise_code}" in page


def test_without_a_class_whoever_passed_lately_is_listed(client, instructor, passed, exercise, now):
    earlier = make_person(full_name="Old Board")
    make_passed_board(earlier, exercise, signed_at=now - timedelta(days=181))
    client.force_login(instructor)

    screen = client.get(NEW).context["screen"]

    assert names(screen.ready) == ["Ada Brisk", "Ben Colt"]
    assert screen.others == []


def test_who_is_certified_is_not_proposed_again_before_the_window_opens(
    client, instructor, passed, session, scope, revision, today
):
    held = make_certificate(passed[0], scope, revision=revision, issued_on=today)
    client.force_login(instructor)

    assert names(client.get(NEW).context["screen"].ready) == ["Ben Colt"]
    of_class = client.get(f"{NEW}?session={session.number}")
    (row, _lacking) = of_class.context["screen"].others
    assert (row.state, row.held.number) == ("held", held.number)
    assert f"{held.number} is good through" in of_class.content.decode()


def test_who_renews_within_the_window_is_listed_with_the_end_that_is_kept(
    client, instructor, passed, scope, revision, today
):
    issued_on = today.replace(year=today.year - 2, day=min(today.day, 28)) + timedelta(days=30)
    held = make_certificate(passed[0], scope, revision=revision, issued_on=issued_on)
    client.force_login(instructor)

    response = client.get(NEW)

    assert names(response.context["screen"].ready) == ["Ada Brisk", "Ben Colt"]
    assert f"It renews {held.number} within its window" in response.content.decode()


def test_suspended_stays_off_the_ticks_with_the_reason(
    client, instructor, quality, passed, session, scope, revision, today, now
):
    issued_on = today.replace(year=today.year - 2, day=min(today.day, 28)) + timedelta(days=30)
    make_certificate(passed[0], scope, revision=revision, issued_on=issued_on)
    act = Act(quality, now, proof="password", reason="Cold joints.", effective_on=today)
    events.suspend_certificates(person=passed[0], scope=scope, act=act)
    client.force_login(instructor)

    screen = client.get(NEW).context["screen"]

    assert names(screen.ready) == ["Ben Colt"]
    (row,) = screen.others
    assert "is suspended for" in row.refusal
    assert row.state == "lacking"


def test_nobody_finds_themselves_or_people_of_another_site(
    client, instructor, exercise, revision, now
):
    make_passed_board(instructor.person, exercise, signed_at=now)
    there = make_person(make_site("Aldergate", "AL"))
    make_passed_board(there, exercise, signed_at=now)
    client.force_login(instructor)

    assert client.get(NEW).context["screen"].rows == []


def test_list_takes_no_more_queries_however_many_boards_are_to_be_signed(
    client, instructor, passed, exercise, now
):
    client.force_login(instructor)
    before = queries_of(client, NEW)
    for _n in range(10):
        make_passed_board(make_person(), exercise, grader=instructor, signed_at=now)

    assert queries_of(client, NEW) <= before
    assert len(client.get(NEW).context["screen"].ready) == 12


# Proposing


def test_ticked_are_proposed_under_one_proof_each_with_a_signature(
    client, instructor, passed, quality
):
    client.force_login(instructor)
    before = Signature.objects.count()

    response = propose(client, rows_on(client), note="Class of November.")

    made = list(Proposal.objects.order_by("person__full_name"))
    assert [one.person for one in made] == passed
    assert {one.note for one in made} == {"Class of November."}
    assert len({one.signature_id for one in made}) == 2
    assert Signature.objects.count() == before + 2
    assert "2 are proposed." in said(response)


def test_all_are_ticked_by_a_link(client, instructor, passed):
    client.force_login(instructor)
    assert client.get(NEW).context["ticked"] == []
    assert len(client.get(f"{NEW}?all=1").context["ticked"]) == 2


def test_nobody_ticked_or_a_wrong_password_proposes_nobody_and_keeps_the_ticks(
    client, instructor, passed
):
    client.force_login(instructor)
    ticked = rows_on(client)

    none = propose(client, [])
    wrong = propose(client, ticked[:1], password="no")

    assert (none.status_code, wrong.status_code) == (422, 422)
    assert "nobody on this page is ticked" in none.content.decode()
    assert wrong.context["ticked"] == [ticked[0].key]
    assert not Proposal.objects.exists()


def test_second_press_proposes_nobody_twice(client, instructor, passed):
    client.force_login(instructor)
    ticked = rows_on(client)
    propose(client, ticked)

    again = propose(client, ticked)

    assert Proposal.objects.count() == 2
    assert "A proposal for Ada Brisk and Terminals, operator is open already." in said(again)


# Deciding


def test_quality_decides_on_all_with_one_proof(client, quality, proposals):
    client.force_login(quality)

    response = decide(client, rows_on(client, DECIDE))

    made = list(Certificate.objects.order_by("person__full_name"))
    assert [one.person for one in made] == [one.person for one in proposals]
    assert len({one.signature_id for one in made}) == 2
    assert {one.issued_by for one in made} == {quality.get_full_name()}
    assert "2 certificates are issued" in said(response)
    assert not Proposal.objects.open().exists()


def test_only_what_is_ticked_is_issued(client, quality, proposals):
    client.force_login(quality)

    decide(client, rows_on(client, DECIDE)[1:])

    assert Certificate.objects.get().person == proposals[1].person
    assert Proposal.objects.open().get() == proposals[0]


def test_what_cannot_be_issued_stays_with_its_reason(client, quality, proposals, today):
    client.force_login(quality)
    before = rows_on(client, DECIDE)
    person = proposals[0].person
    person.left_on = today - timedelta(days=1)
    person.save(update_fields=["left_on"])

    shown = client.get(DECIDE)
    response = decide(client, before)

    assert [bool(row.refusal) for row in shown.context["screen"].rows] == [True, False]
    assert f'name="ticked" value="{proposals[0].pk}"' not in shown.content.decode()
    assert Certificate.objects.get().person == proposals[1].person
    assert "Ada Brisk, Terminals, operator stays as it was. Ada Brisk left on" in said(response)
    assert Proposal.objects.open().get() == proposals[0]


def test_second_press_or_back_issues_nothing_twice(client, quality, proposals):
    client.force_login(quality)
    rows = rows_on(client, DECIDE)
    decide(client, rows)

    again = decide(client, rows)

    assert Certificate.objects.count() == 2
    assert "This proposal was decided already: issued." in said(again)


def test_what_changed_since_the_page_was_shown_is_not_signed(
    client, quality, proposals, exercise, instructor, now
):
    client.force_login(quality)
    before = rows_on(client, DECIDE)
    # A newer board comes to count for the first of them.
    make_passed_board(proposals[0].person, exercise, grader=instructor, signed_at=now)

    response = decide(client, before)

    assert Certificate.objects.get().person == proposals[1].person
    assert "Ada Brisk, Terminals, operator stays as it was. What you were shown" in said(response)
    decide(client, rows_on(client, DECIDE))
    assert Certificate.objects.count() == 2


def test_page_without_what_it_showed_signs_nothing(client, quality, instructor, proposals):
    client.force_login(quality)
    rows = rows_on(client, DECIDE)

    response = decide(client, rows, **{f"shown-{row.key}": "" for row in rows})

    assert "What you were shown has changed since" in said(response)
    assert not Certificate.objects.exists()


def test_restriction_is_signed_as_the_page_showed_it(
    client, quality, instructor, passed, scope, revision, today, now
):
    issued_on = today.replace(year=today.year - 2, day=min(today.day, 28)) + timedelta(days=30)
    make_certificate(passed[0], scope, revision=revision, issued_on=issued_on)
    client.force_login(instructor)
    propose(client, rows_on(client))
    act = Act(quality, now, proof="password", reason="Cold joints.", effective_on=today)
    events.restrict_certificates(person=passed[0], scope=scope, act=act, restriction="turrets")
    client.force_login(quality)
    shown = rows_on(client, DECIDE)
    assert [row.restriction for row in shown] == ["turrets", ""]

    decide(client, shown)

    assert Certificate.objects.order_by("pk").filter(person=passed[0]).last().restriction == (
        "turrets"
    )


def test_wrong_password_issues_nothing(client, quality, proposals):
    client.force_login(quality)

    response = decide(client, rows_on(client, DECIDE), password="no")

    assert response.status_code == 422
    assert response.context["ticked"] == [str(one.pk) for one in proposals]
    assert not Certificate.objects.exists()


def test_instructor_reads_there_that_quality_issues(client, instructor, proposals):
    client.force_login(instructor)

    screen = client.get(DECIDE).context["screen"]

    assert screen.issuable == []
    assert {row.refusal for row in screen.rows} == {
        f"Under {proposals[0].scheme_revision} quality issues."
    }
    assert "stays as it was" in said(decide(client, screen.rows))
    assert not Certificate.objects.exists()


def test_proposal_says_how_long_it_has_waited(
    client, quality, instructor, passed, now, monkeypatch
):
    client.force_login(instructor)
    monkeypatch.setattr(timezone, "now", lambda: now)
    propose(client, rows_on(client))
    monkeypatch.setattr(timezone, "now", lambda: now + timedelta(days=16))
    client.force_login(quality)

    assert "It has waited 16 days." in client.get(DECIDE).content.decode()


def test_decisions_take_no_more_queries_however_many_boards_are_to_be_signed(
    client, instructor, quality, proposals, exercise, now
):
    client.force_login(quality)
    before = queries_of(client, DECIDE)
    for _n in range(6):
        make_passed_board(make_person(), exercise, grader=instructor, signed_at=now)
    client.force_login(instructor)
    propose(client, rows_on(client))
    client.force_login(quality)

    assert queries_of(client, DECIDE) <= before
    assert len(client.get(DECIDE).context["screen"].rows) == 8


# Where it is told


def test_register_tells_quality_what_waits_and_since_when(
    client, quality, instructor, proposals, now, monkeypatch
):
    monkeypatch.setattr(timezone, "now", lambda: now + timedelta(days=16))
    client.force_login(quality)

    page = client.get("/register/").content.decode()

    assert "2 proposals wait for you to decide." in page
    assert "The first came 16\u00a0days\u00a0ago." in page
    assert 'href="/proposals/decide/"' in page
    assert "wait for you" not in client.get("/register/?day=2020-01-01").content.decode()
    client.force_login(instructor)
    assert "wait for you" not in client.get("/register/").content.decode()


def test_result_leads_on_to_the_scheme_the_person_and_the_next_board(
    client, instructor, exercise, passed, scope, now
):
    board = Board.objects.get(person=passed[0])
    waiting = make_board(exercise=exercise, handed_in_at=now)
    client.force_login(instructor)

    page = client.get(f"/boards/{board.number}/result/").content.decode()
    leads = client.get(f"/boards/{board.number}/leads-to/").content.decode()

    assert f'href="/people/{passed[0].employee_number}/"' in page
    assert f'href="/boards/{waiting.number}/grade/"' in page
    assert f'hx-get="/boards/{board.number}/leads-to/"' in page
    assert "Everything is there." in leads
    assert f"/people/{passed[0].employee_number}/scopes/{scope.code}/#h-next" in leads


def test_result_says_to_the_operator_what_is_lacking_and_offers_nothing(
    client, trainees, exercise, scope, instructor, now
):
    make_revision(scope, exercise=exercise, boards=2)
    board = make_passed_board(trainees[0], exercise, grader=instructor, signed_at=now)
    client.force_login(make_user(person=trainees[0]))

    leads = client.get(f"/boards/{board.number}/leads-to/").content.decode()

    assert "1 of 2 boards passed" in leads
    assert "propose" not in leads.lower()
