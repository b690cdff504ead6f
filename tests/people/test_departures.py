"""Whoever has left signs in nowhere and proves nothing; what a last day means is shown first."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.core import mail
from django.core.cache import cache
from django.urls import reverse
from django.utils import timezone

from assessments.exceptions import MayNotGrade
from assessments.services.grading import refuse_unless_may_grade
from people.exceptions import PeopleError, ProofRefused, TabletRefused
from people.models import Person, SiteRole, User
from people.services import sign_ins, tablets
from people.services.proof import prove_identity
from tests.factories import (
    NOW,
    PASSWORD,
    TODAY,
    make_board,
    make_exercise,
    make_passed_board,
    make_person,
    make_session,
    make_site,
    make_tool,
    make_user,
)

pytestmark = pytest.mark.django_db

CARD = reverse("certification:my_card")
LOGIN = reverse("account_login")
YESTERDAY = timedelta(days=1)


@pytest.fixture(autouse=True)
def no_attempts_yet():
    cache.clear()
    yield
    cache.clear()


def leave(user, day):
    Person.objects.filter(pk=user.person_id).update(left_on=day)


def close(user):
    User.objects.filter(pk=user.pk).update(is_active=False)


def had_left(user):
    leave(user, user.person.site.today() - YESTERDAY)


ENDS = pytest.mark.parametrize("end", [had_left, close], ids=["has left", "closed"])


@pytest.fixture
def user():
    return make_user("instructor", password=PASSWORD)


def sign_in(client, user):
    return client.post(LOGIN, {"login": user.employee_number, "password": PASSWORD})


@ENDS
def test_session_opens_nothing_from_the_next_request_on(client, user, end):
    sign_in(client, user)
    assert client.get(CARD).status_code == 200

    end(user)

    assert client.get(CARD).url.startswith(LOGIN)
    assert client.post(reverse("people:person_new"), {}).url.startswith(LOGIN)


def test_role_taken_away_opens_nothing_from_the_next_request_on(client, user):
    sign_in(client, user)
    assert client.get(reverse("people:person_new")).status_code == 200
    SiteRole.objects.filter(user=user).delete()
    assert client.get(reverse("people:person_new")).status_code == 403


@ENDS
def test_password_opens_nothing(client, user, end):
    end(user)
    assert "This sign-in is closed" in sign_in(client, user).text
    assert "_auth_user_id" not in client.session


@ENDS
def test_nobody_proves_who_they_are_or_gets_a_link(client, user, end):
    Person.objects.filter(pk=user.person_id).update(email="runa@skarnfell.example")
    end(user)
    with pytest.raises(ProofRefused):
        prove_identity(User.objects.get(pk=user.pk), PASSWORD)
    client.post(reverse("account_reset_password"), {"email": "runa@skarnfell.example"})
    assert mail.outbox == []


@ENDS
def test_badge_and_password_open_no_tablet(user, end):
    keeper = make_user("instructor")
    now = timezone.now()
    tablet, _token = tablets.declare_tablet(
        site=keeper.person.site, name="Bench room 2", actor=keeper, at=now
    )
    tablets.set_pin(user=user, pin="2580", badge="CARD-7", proof="password", at=now)
    end(user)

    with pytest.raises(TabletRefused):
        tablets.open_by_badge(tablet=tablet, badge="CARD-7", pin="2580", at=now)
    with pytest.raises(TabletRefused):
        tablets.prove_password_at_tablet(
            user=User.objects.get(pk=user.pk), password=PASSWORD, tablet=tablet, at=now
        )


def test_last_day_is_a_day_of_the_site(client):
    """23:30 in New York is the next day in UTC: they are still here."""
    site = make_site("Aldergate", "AL", time_zone="America/New_York")
    user = make_user(person=make_person(site, left_on=TODAY), password=PASSWORD)
    last_minutes = datetime(TODAY.year, TODAY.month, TODAY.day, 23, 30, tzinfo=site.zone)

    with time_machine.travel(last_minutes, tick=False):
        assert timezone.now().astimezone(UTC).date() > TODAY
        sign_in(client, user)
        assert client.get(CARD).status_code == 200
    with time_machine.travel(last_minutes + timedelta(minutes=31), tick=False):
        assert client.get(CARD).url.startswith(LOGIN)


def test_whoever_has_left_neither_administers_nor_becomes_anything():
    site = make_site()
    last, gone = make_user("administrator"), make_user("administrator")
    leave(gone, TODAY - YESTERDAY)

    with pytest.raises(PeopleError, match="Nobody else administers"):
        sign_ins.set_roles(user=last, roles=[], actor=last, at=NOW)
    with pytest.raises(PeopleError, match="has left"):
        sign_ins.open_sign_in(
            person=make_person(site, left_on=TODAY - YESTERDAY), actor=last, at=NOW
        )


def test_request_reads_who_is_signed_in_at_once(client, user, django_assert_num_queries):
    client.force_login(user)
    client.get(LOGIN)  # Which notes the minute in the session.
    with django_assert_num_queries(2):  # The session, and the sign-in with person and site.
        client.get(LOGIN)


def typed(person, **fields):
    return {
        "employee_number": person.employee_number,
        "full_name": person.full_name,
        "kind": "own",
        "language": "en",
        "site": person.site_id,
        **fields,
    }


def test_what_a_last_day_ends_and_leaves_open_is_shown_before_it_is_saved(client):
    user = make_user("line_lead", "instructor", person=make_person(full_name="Runa Whitlock"))
    person, today = user.person, user.person.site.today()
    make_person(full_name="Wren Abbott", line_lead=person)
    make_tool(code="G-LEFT", answers_for=person)
    make_tool(code="G-GONE", answers_for=person, retired_on=today)
    later = {"starts_on": today, "ends_on": today + timedelta(days=3)}
    taught = make_session(instructor=user, **later)
    attended = make_session(people=(person,), **later)
    over = make_session(people=(person,), starts_on=today, ends_on=today)
    board = make_board(person)
    done = make_passed_board(person, make_exercise(), grader=make_user("instructor"))
    client.force_login(make_user("administrator"))
    url = reverse("people:person_edit", args=[person.employee_number])

    page = client.post(url, typed(person, left_on=today.isoformat())).text

    person.refresh_from_db()
    assert person.left_on is None
    shown = page.partition('id="h-departure"')[2].partition("</section>")[0]
    for matter in (
        user.employee_number,
        "instructor, Castelmar",
        "Wren Abbott",
        "G-LEFT",
        taught.number,
        attended.number,
        board.number,
    ):
        assert matter in shown, matter
    for matter in ("G-GONE", over.number, done.number):
        assert matter not in shown, matter
    assert shown.index("ends the day after") < shown.index("stays open")

    seen = typed(person, left_on=today.isoformat(), last_day_seen=today.isoformat())
    assert client.post(url, seen).status_code == 302
    person.refresh_from_db()
    assert person.left_on == today


def test_another_day_than_the_one_shown_is_shown_again(client):
    user = make_user()
    today = user.person.site.today()
    client.force_login(make_user("administrator"))
    url = reverse("people:person_edit", args=[user.employee_number])
    other = typed(
        user.person,
        left_on=(today + YESTERDAY).isoformat(),
        last_day_seen=today.isoformat(),
    )
    assert client.post(url, other).status_code == 200
    assert Person.objects.get(pk=user.person_id).left_on is None


def test_last_day_of_whom_nothing_hangs_on_is_saved_at_once(client):
    person = make_person()
    client.force_login(make_user("administrator"))
    url = reverse("people:person_edit", args=[person.employee_number])
    assert client.post(url, typed(person, left_on="2026-11-25")).status_code == 302


def test_pages_say_that_the_sign_in_opens_nothing_and_where_its_links_go(client):
    user = make_user(person=make_person(email="runa@skarnfell.example"))
    client.force_login(make_user("administrator"))
    detail = reverse("people:person_detail", args=[user.employee_number])
    sign_in_page = reverse("people:person_sign_in", args=[user.employee_number])
    assert "opens nothing since they left" not in client.get(detail).text
    assert "runa@skarnfell.example" in client.get(sign_in_page).text

    had_left(user)

    assert "opens nothing since they left" in client.get(detail).text
    page = " ".join(client.get(sign_in_page).text.split())
    assert "From the day after on the sign-in opens nothing" in page


@ENDS
def test_service_lets_nobody_judge_whose_sign_in_has_ended(user, end):
    board = make_board(make_person(), make_exercise(), handed_in_at=NOW)
    end(user)
    with pytest.raises(MayNotGrade, match="has left, or the sign-in is closed"):
        refuse_unless_may_grade(User.objects.get(pk=user.pk), board, timezone.now())
