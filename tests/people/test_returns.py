"""Whoever had left and is back has their number and records, and nothing that opens by itself."""

import json
from datetime import timedelta

import pytest
from allauth.mfa.models import Authenticator
from django.urls import reverse
from django.utils import timezone

from people.exceptions import PeopleError
from people.models import BadgePin, Person, Return, Role, SiteRole
from people.services.people import change_person
from people.services.returns import return_person
from records.models import TrailEntry
from tests.factories import (
    NOW,
    PASSWORD,
    TODAY,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from training.services import facts

pytestmark = pytest.mark.django_db

LEFT, BACK = TODAY - timedelta(days=60), TODAY - timedelta(days=5)


@pytest.fixture
def administrator():
    return make_user("administrator")


def back(person, actor, **fields):
    fields = {"returned_on": BACK, "reason": "Back on line 4.", "actor": actor, "at": NOW, **fields}
    return return_person(person=person, **fields)


def test_number_stays_and_the_days_between_are_away(administrator):
    person = make_person(started_on=TODAY - timedelta(days=900), left_on=LEFT)
    back(person, administrator)

    person.refresh_from_db()
    assert (person.left_on, person.started_on) == (None, TODAY - timedelta(days=900))
    at_work = [
        Person.objects.at_work_on(day).filter(pk=person.pk).exists()
        for day in (LEFT, LEFT + timedelta(days=1), BACK - timedelta(days=1), BACK, TODAY)
    ]
    assert at_work == [True, False, False, True, True]


def test_neither_roles_nor_password_come_back(administrator):
    user = make_user("instructor", password=PASSWORD, person=make_person(left_on=LEFT))
    BadgePin.objects.create(user=user, pin_hash="x", set_at=NOW)
    back(user.person, administrator)

    user = type(user).objects.get(pk=user.pk)
    assert user.may_sign_in(NOW)
    assert user.role_names() == {Role.OPERATOR}
    assert not user.has_usable_password()
    assert not BadgePin.objects.exists()


def has_app(user):
    return Authenticator.objects.create(user=user, type=Authenticator.Type.TOTP, data={})


@pytest.mark.parametrize(("role", "stays"), [("administrator", False), ("instructor", True)])
def test_roles_stay_that_the_actor_may_not_take(role, stays):
    actor = make_user(role)
    user = make_user("instructor", person=make_person(actor.person.site, left_on=LEFT))
    there = SiteRole.objects.create(
        user=user, site=make_site("Other", "OT"), role="line_lead", recorded_at=NOW
    )
    if role == "instructor":  # Whom an instructor brings back holds roles within their reach.
        there.site = actor.person.site
        there.save()
    app = has_app(user)
    back(user.person, actor)
    assert user.roles.filter(pk=there.pk).exists()
    assert user.roles.filter(role="instructor").exists() == stays
    user.refresh_from_db()
    assert not user.has_usable_password()
    # Nobody weakens a sign-in that holds roles beyond their own sites.
    assert Authenticator.objects.filter(pk=app.pk).exists()
    written = json.loads(TrailEntry.objects.get(act="sign-in reset on return").payload.body)
    assert written["second_factors"] == "stay"
    assert len(written["before"]) == 2
    assert len(written["after"]) == 1 + stays


def test_the_page_says_which_roles_go_and_which_stay(client, administrator):
    today = administrator.person.site.today(timezone.now())
    left = make_person(administrator.person.site, left_on=today - timedelta(days=9))
    user = make_user("instructor", person=left)
    url = reverse("people:person_return", args=[left.employee_number])
    client.force_login(administrator)
    assert "second factor stays" not in client.get(url).text
    SiteRole.objects.create(
        user=user, site=make_site("Other", "OT"), role="line_lead", recorded_at=NOW
    )
    page = client.get(url).text
    assert page.index("is taken away") < page.index("stays: an administrator of the site")
    assert "second factor stays" in page
    sent = {"returned_on": today.isoformat(), "reason": "Back.", "day_seen": today.isoformat()}
    assert "Roles at other sites stay" in client.post(url, sent, follow=True).text


@pytest.mark.parametrize(
    ("left_on", "fields", "says"),
    [
        (None, {}, "has not left"),
        (LEFT, {"returned_on": LEFT}, "Give a later day"),
        (LEFT, {"returned_on": TODAY + timedelta(days=1)}, "still to come"),
        (LEFT, {"reason": ""}, "Say why"),
    ],
)
def test_what_is_refused(administrator, left_on, fields, says):
    person = make_person(left_on=left_on)
    with pytest.raises(PeopleError, match=says):
        back(person, administrator, **fields)
    assert not Return.objects.exists()


def test_pressed_twice_it_is_once(administrator):
    person = make_person(left_on=LEFT)
    back(person, administrator)
    with pytest.raises(PeopleError, match="has not left"):
        back(person, administrator)
    assert Return.objects.count() == 1


def test_taking_the_last_day_off_is_no_way_back(administrator):
    person = make_person(left_on=LEFT)
    with pytest.raises(PeopleError, match="Enter that they are back"):
        change_person(person=person, left_on=None, actor=administrator, at=NOW)


def test_the_page_shows_first_how_they_would_stand(client, administrator):
    today = administrator.person.site.today(timezone.now())
    person = make_person(left_on=today - timedelta(days=200))
    kept, lapsed = make_scope(title="Turrets"), make_scope(title="Cups")
    for scope in (kept, lapsed):
        revision = make_revision(scope, max_absence_months=3, vision_months=0)
        issued_on = today - timedelta(days=210)
        make_certificate(person, scope, revision=revision, issued_on=issued_on)
    for days in (150, 100, 50, 1):
        facts.record_practice(
            person=person,
            scope_code=kept.code,
            performed_on=today - timedelta(days=days),
            actor=administrator,
            at=timezone.now(),
        )
    client.force_login(administrator)
    url = reverse("people:person_return", args=[person.employee_number])

    page = client.get(url)
    assert page.text.index("Cups") < page.text.index("Turrets")
    assert "Not current: see your instructor." in page.text
    assert "Within the period" in page.text

    earlier = (today - timedelta(days=1)).isoformat()
    sent = {"returned_on": earlier, "reason": "Back.", "day_seen": today.isoformat()}
    assert client.post(url, sent).status_code == 200
    assert not Return.objects.exists()
    assert client.post(url, sent | {"day_seen": earlier}).status_code == 302
    assert Return.objects.get().returned_on.isoformat() == earlier
    assert client.get(url).status_code == 404
