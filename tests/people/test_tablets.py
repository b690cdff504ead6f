"""Shared tablets: badge and PIN tried, waits grown, all of it in the trail."""

import json
from datetime import timedelta

import pytest

from people.exceptions import PeopleError, TabletRefused
from people.models import BadgePin, SharedTablet, WrongTries
from people.services import tablets as services
from records.models import TrailEntry, TrailPayload
from tests import factories
from tests.factories import NOW, PASSWORD

pytestmark = pytest.mark.django_db

PIN = "2580"
WRONG = "2581"


@pytest.fixture(autouse=True)
def _hashed_quickly(settings):
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def keeper():
    return factories.make_user("instructor")


@pytest.fixture
def tablet(keeper) -> SharedTablet:
    return declare(keeper)


def declare(keeper, name="Bench room 2"):
    return services.declare_tablet(site=keeper.person.site, name=name, actor=keeper, at=NOW)[0]


def with_pin(pin=PIN, badge="", **fields):
    user = factories.make_user(password=PASSWORD, **fields)
    services.set_pin(user=user, pin=pin, badge=badge, proof="password", at=NOW)
    return user


def try_(tablet, badge, pin=PIN, after_s=0):
    return services.open_by_badge(
        tablet=tablet, badge=badge, pin=pin, at=NOW + timedelta(seconds=after_s)
    )


def acts():
    return list(TrailEntry.objects.order_by("pk").values_list("act", flat=True))


def test_badge_or_employee_number_opens_with_the_pin_whatever_their_letters(tablet):
    user = with_pin(badge="Card-A7")
    assert try_(tablet, user.employee_number) == user
    assert try_(tablet, " card-a7 ") == user
    assert acts()[-2:] == ["tablet opened by badge and PIN"] * 2


def test_pin_is_kept_as_a_hash_alone(tablet):
    user = with_pin()
    kept = BadgePin.objects.get(user=user)
    assert PIN not in kept.pin_hash
    assert kept.pin_hash.startswith("md5$")
    [body] = TrailPayload.objects.filter(entry__act="badge and PIN set").values_list("body")
    assert PIN not in body[0].replace(user.employee_number, "")


@pytest.mark.parametrize("pin", ["1234", "0000", "12", "number"])
def test_trivial_pin_is_refused_with_a_sentence(pin):
    user = factories.make_user()
    tried = user.employee_number[:4] if pin == "number" else pin
    with pytest.raises(PeopleError, match="Choose another"):
        services.set_pin(user=user, pin=tried, badge="", proof="password", at=NOW)
    assert not BadgePin.objects.exists()


def test_badge_of_somebody_else_is_refused(tablet):
    first = with_pin(badge="CARD-1")
    user = factories.make_user()
    for badge in ("card-1", first.employee_number):
        with pytest.raises(PeopleError, match="somebody else"):
            services.set_pin(user=user, pin=PIN, badge=badge, proof="password", at=NOW)
    assert not BadgePin.objects.filter(user=user).exists()


def test_wrong_unknown_and_pinless_are_answered_alike(tablet):
    user, without = with_pin(), factories.make_user()
    refusals = set()
    for n, badge in enumerate((user.employee_number, "99999", without.employee_number, "")):
        with pytest.raises(TabletRefused) as refused:
            try_(declare(tablet.declared_by, f"Tablet {n}"), badge, WRONG)
        refusals.add(str(refused.value))
    assert len(refusals) == 1
    assert acts().count("badge and PIN refused") == 4
    refused = TrailEntry.objects.filter(act="badge and PIN refused")
    assert set(refused.values_list("actor", flat=True)) == {None}


def test_unknown_and_pinless_wait_and_stop_like_a_wrong_pin_on_every_tablet(tablet):
    user, without, left = with_pin(), factories.make_user(), factories.make_user(is_active=False)
    badges = {
        "known": user.employee_number,
        "without a PIN": without.employee_number,
        "may not sign in": left.employee_number,
        "unknown": "CARD-99",
        "unknown again": "99999",
        "empty": "",
    }
    refusals = {}
    for who, badge in badges.items():
        at, answers = 0, []
        for n in range(13):
            # Typed a little otherwise, and each time at a tablet where nobody has tried yet.
            elsewhere = declare(tablet.declared_by, f"{who} {n}")
            with pytest.raises(TabletRefused) as refused:
                try_(elsewhere, f" {badge.lower()} " if n % 2 else badge, WRONG, at)
            answers.append(str(refused.value))
            at += 31 if n == 3 else 0 if n < 3 else 4000
        refusals[who] = answers
    assert "do not go together" in refusals["known"][2]
    assert "Wait 31 seconds" in refusals["known"][3]
    assert "set a new one" in refusals["known"][-1]
    assert {who for who, answers in refusals.items() if answers != refusals["known"]} == set()


def test_wrong_tries_of_unknown_badges_are_bounded_and_tell_no_badge(tablet, monkeypatch):
    monkeypatch.setattr(services, "MAX_UNKNOWN_BADGES", 3)
    user = with_pin()
    for n in range(6):
        for badge in (f"Unknown-{n}", user.employee_number):
            with pytest.raises(TabletRefused):
                try_(declare(tablet.declared_by, f"{badge} {n}"), badge, WRONG, n * 4000)
    keys = WrongTries.objects.values_list("key", flat=True)
    unknown = [key for key in keys if key.startswith(services.UNKNOWN_BADGE_PREFIX)]
    latest = [services._unknown_badge_key(f"unknown-{n}") for n in (3, 4, 5)]
    assert sorted(unknown) == sorted(latest)
    assert not any("nknown-" in key for key in keys)
    assert WrongTries.objects.get(key=f"pin:{user.pk}").failures == 6


def test_what_is_typed_for_a_badge_is_in_the_trail_only_if_it_is_somebodys(tablet):
    user, left = with_pin(badge="CARD-7"), factories.make_user(is_active=False)
    tried = ["my own Passw0rd!", "CARD-7", user.employee_number, left.employee_number, "CARD-8"]
    for n, badge in enumerate(tried):
        with pytest.raises(TabletRefused):
            try_(declare(tablet.declared_by, f"Tablet {n}"), badge, WRONG, n * 4000)
    entries = TrailEntry.objects.filter(act="badge and PIN refused").order_by("pk")
    bodies = [json.loads(entry.payload.body) for entry in entries]
    assert [body["badge"] for body in bodies] == ["", *tried[1:4], ""]
    for body in TrailPayload.objects.values_list("body", flat=True):
        assert "Passw0rd" not in body


def test_each_wrong_try_waits_longer_and_the_right_pin_waits_too(tablet):
    user, at = with_pin(), 0
    for wait_s in (0, 0, 30, 60, 120):
        with pytest.raises(TabletRefused, match="do not go together"):
            try_(tablet, user.employee_number, WRONG, at)
        if wait_s:
            with pytest.raises(TabletRefused, match="Too many wrong tries"):
                try_(tablet, user.employee_number, PIN, at + wait_s - 1)
        at += wait_s
    assert acts().count("badge and PIN refused") == 5  # Tries in the wait are not looked at.
    assert try_(tablet, user.employee_number, PIN, at) == user
    assert set(WrongTries.objects.values_list("failures", flat=True)) == {0}


def test_person_waits_on_every_tablet_and_nobody_else_with_them(tablet, keeper):
    user, other = with_pin(), with_pin(pin="4471")
    elsewhere = declare(keeper, "Bench room 3")
    for n in range(6):
        with pytest.raises(TabletRefused):
            try_(tablet, user.employee_number, WRONG, n * 3600)
    at = 5 * 3600
    for where in (elsewhere, tablet):
        with pytest.raises(TabletRefused, match="Too many wrong tries"):
            try_(where, user.employee_number, PIN, at + 1)
        assert try_(where, other.employee_number, "4471", at + 1) == other


def test_who_goes_through_many_badges_stops_the_tablet(tablet, keeper):
    user = with_pin()
    for n in range(services.FREE_BADGES_AT_A_TABLET + 3):
        with pytest.raises(TabletRefused, match="do not go together"):
            try_(tablet, f"CARD-{n}", WRONG)
    with pytest.raises(TabletRefused, match="Wait 31 seconds"):
        try_(tablet, user.employee_number)
    assert try_(declare(keeper, "Bench room 3"), user.employee_number) == user
    assert try_(tablet, user.employee_number, PIN, 31) == user


def test_slip_that_is_put_right_does_not_count_at_the_tablet(tablet):
    user = with_pin()
    for n in range(40):
        with pytest.raises(TabletRefused, match="do not go together"):
            try_(tablet, user.employee_number, WRONG, n)
        assert try_(tablet, user.employee_number, PIN, n) == user


def test_ten_wrong_tries_stop_a_pin_until_it_is_set_anew(tablet):
    user, at = with_pin(), 0
    for _ in range(10):
        with pytest.raises(TabletRefused):
            try_(tablet, user.employee_number, WRONG, at)
        at += 3600
    with pytest.raises(TabletRefused, match="set a new one"):
        try_(tablet, user.employee_number, PIN, at)
    services.set_pin(user=user, pin=PIN, badge="", proof="password", at=NOW)
    assert try_(tablet, user.employee_number, PIN, at) == user


@pytest.mark.parametrize(
    "field",
    [{"is_active": False}, {"password_is_one_time": True}],
    ids=lambda field: next(iter(field)),
)
def test_pin_of_who_may_not_sign_in_opens_nothing(tablet, field):
    user = with_pin()
    type(user).objects.filter(pk=user.pk).update(**field)
    with pytest.raises(TabletRefused):
        try_(tablet, user.employee_number)


def test_pin_that_was_given_up_opens_nothing(tablet):
    user = with_pin()
    assert services.remove_pin(user=user, at=NOW)
    assert not services.remove_pin(user=user, at=NOW)
    with pytest.raises(TabletRefused):
        try_(tablet, user.employee_number)
    assert "badge and PIN removed" in acts()


def test_password_at_a_tablet_waits_apart_from_the_pin(tablet, keeper):
    user = with_pin()

    def prove(password, where=tablet):
        services.prove_password_at_tablet(user=user, password=password, tablet=where, at=NOW)

    for _ in range(3):
        with pytest.raises(TabletRefused, match="not your password"):
            prove("no")
    with pytest.raises(TabletRefused, match="Wait"):
        prove(PASSWORD)
    assert try_(declare(keeper, "Another"), user.employee_number) == user
    assert acts().count("password refused at a tablet") == 3


def test_tablets_of_a_site_have_names_of_their_own_until_one_ends(tablet, keeper):
    with pytest.raises(PeopleError, match="Give another name"):
        declare(keeper)
    services.revoke_tablet(tablet=tablet, actor=keeper, at=NOW)
    services.revoke_tablet(tablet=tablet, actor=keeper, at=NOW)
    assert declare(keeper).name == tablet.name
    assert acts().count("tablet no longer shared") == 1
    assert acts().count("tablet declared shared") == 2
