"""A second factor: set up, asked for when signing in and signing, reset, needed by a role."""

import json
import re
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
import time_machine
from allauth.mfa.models import Authenticator
from django.core import mail
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from people.domain.totp import code_of_step
from people.exceptions import PeopleError, ProofRefused, TriedTooOften, WrongPassword
from people.middleware import tablets
from people.models import Site, User
from people.services import second_factors as services
from people.services import sign_ins
from people.services import tablets as tablet_services
from people.services.proof import Given, prove_identity
from records.models import TrailEntry
from tests.factories import NOW, PASSWORD, make_person, make_site, make_user

pytestmark = pytest.mark.django_db

OVERVIEW = reverse("people:second_factor")
APP = reverse("people:second_factor_app")
CODES = reverse("people:second_factor_codes")
LOGIN = reverse("account_login")
ASKED = reverse("mfa_authenticate")
OWN = reverse("people:own_sign_in")
SECRET = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"


@pytest.fixture(autouse=True)
def clock():
    cache.clear()
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller
    cache.clear()


@pytest.fixture
def user():
    person = make_person(email="runa@skarnfell.example", full_name="Runa Whitlock")
    return make_user("instructor", person=person, password=PASSWORD, email=person.email)


@pytest.fixture
def enrolled(user, clock):
    """Somebody with an app, half a minute after its first code."""
    services.enrol_app(user=user, secret=SECRET, code=code(), at=timezone.now())
    clock.shift(30)
    return User.objects.get(pk=user.pk)


def code(secret=SECRET, steps=0):
    return code_of_step(secret, int(timezone.now().timestamp()) // 30 + steps)


def again(user):
    return User.objects.get(pk=user.pk)


def acts(user):
    entries = TrailEntry.objects.filter(about_type="sign-in", about_id=str(user.pk))
    return [(entry.act, json.loads(entry.payload.body)) for entry in entries.order_by("number")]


def sign_in(client, user):
    return client.post(LOGIN, {"login": user.employee_number, "password": PASSWORD})


def ask_of_site(*roles, signs=False):
    Site.objects.filter(prefix="CA").update(
        second_factor_roles=list(roles), second_factor_signs=signs
    )


# Setting one up


def test_app_is_set_up_with_password_and_code_and_gives_recovery_codes(client, user):
    client.force_login(user)
    page = client.get(APP).text
    secret = re.search(r'class="enrol-secret">([A-Z2-7 ]+)<', page)[1].replace(" ", "")
    assert len(secret) == 32
    assert "<svg" in page

    answer = client.post(APP, {"code": code(secret), "password": PASSWORD})

    shown = re.findall(r"<li><code>(\d{4} \d{4})</code>", answer.text)
    assert len(set(shown)) == 10
    assert "no-store" in answer.headers["Cache-Control"]
    row = Authenticator.objects.get(user=user, type="totp")
    assert secret not in json.dumps(row.data)
    assert not any(
        text.replace(" ", "") in json.dumps(row.data)
        for text in shown
        for row in Authenticator.objects.all()
    )
    assert acts(user)[-1] == ("second factor added", {"from": "127.0.0.1", "kind": "app"})
    assert client.get(APP).url == OVERVIEW
    assert "set up" in client.get(OVERVIEW).text


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"code": "000000", "password": PASSWORD}, "no code of this secret"),
        ({"code": "good", "password": "a guess"}, "not your password"),
        ({"code": "", "password": PASSWORD}, "Type the code"),
        ({"code": "good", "password": ""}, "Type your password"),
    ],
    ids=["wrong code", "wrong password", "no code", "no password"],
)
def test_app_is_not_set_up_by_less(client, user, given, said):
    client.force_login(user)
    secret = re.search(r'enrol-secret">([A-Z2-7 ]+)<', client.get(APP).text)[1].replace(" ", "")
    if given["code"] == "good":
        given = given | {"code": code(secret)}
    answer = client.post(APP, given)
    assert answer.status_code == 422
    assert said in answer.text
    assert not Authenticator.objects.exists()
    assert secret == re.search(r'enrol-secret">([A-Z2-7 ]+)<', answer.text)[1].replace(" ", "")


def test_secret_waits_encrypted_in_the_session(client, user):
    client.force_login(user)
    secret = re.search(r'enrol-secret">([A-Z2-7 ]+)<', client.get(APP).text)[1].replace(" ", "")
    assert secret not in json.dumps(dict(client.session.items()))


@pytest.mark.django_db(transaction=True)
def test_two_windows_set_up_one_app(user):
    def enrol(_n):
        try:
            services.enrol_app(user=again(user), secret=SECRET, code=code(), at=NOW)
        except PeopleError:
            return "refused"
        finally:
            connection.close()
        return "set up"

    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(enrol, range(4))) == ["refused"] * 3 + ["set up"]


# Signing in


def test_signing_in_asks_for_the_code_and_opens_nothing_before(client, enrolled):
    assert sign_in(client, enrolled).url == ASKED
    assert client.get(OWN).url.startswith(LOGIN)
    assert "Code of your app" in client.get(ASKED).text

    wrong = client.post(ASKED, {"code": "000000"})
    assert wrong.status_code == 422
    assert "wrong or was used" in wrong.text
    assert client.get(OWN).url.startswith(LOGIN)

    assert client.post(ASKED, {"code": code()}).url == "/"
    assert client.get(OWN).status_code == 200
    assert acts(enrolled)[-2:] == [
        ("second factor refused", {"from": "127.0.0.1"}),
        ("signed in", {"from": "127.0.0.1", "with": "code"}),
    ]
    assert "Wrong code where a second factor was asked for" in client.get(OWN).text


def test_page_for_the_code_is_of_nobody_without_a_password(client, enrolled):
    assert client.get(ASKED).url == LOGIN
    assert client.post(ASKED, {"code": code()}).url == LOGIN
    assert client.get(OWN).url.startswith(LOGIN)


def test_whoever_has_none_signs_in_by_password(client, user):
    assert sign_in(client, user).url == "/"


def test_code_does_not_sign_in_twice(client, enrolled, clock):
    used = code()
    sign_in(client, enrolled)
    client.post(ASKED, {"code": used})
    other = Client()
    sign_in(other, enrolled)
    assert "wrong or was used" in other.post(ASKED, {"code": used}).text
    clock.shift(30)
    assert other.post(ASKED, {"code": code()}).url == "/"


@pytest.mark.parametrize("meanwhile", ["password", "closed", "left"])
def test_what_happens_between_password_and_code_counts(client, enrolled, meanwhile):
    sign_in(client, enrolled)
    if meanwhile == "password":
        enrolled.set_password("another one, given meanwhile")
        enrolled.save(update_fields=["password"])
    elif meanwhile == "closed":
        User.objects.filter(pk=enrolled.pk).update(is_active=False)
    else:
        enrolled.person.left_on = (NOW - timedelta(days=1)).date()
        enrolled.person.save(update_fields=["left_on"])
    assert client.post(ASKED, {"code": code()}).url == LOGIN
    assert client.get(OWN).url.startswith(LOGIN)


def test_wrong_codes_wait_ever_longer_and_stop_no_colleague(client, enrolled, clock):
    sign_in(client, enrolled)
    for _n in range(3):
        client.post(ASKED, {"code": "000000"})
    assert "Too many wrong tries" in client.post(ASKED, {"code": code()}).text
    clock.shift(31)
    assert client.post(ASKED, {"code": code()}).url == "/"


def test_recovery_code_opens_once(client, user, clock):
    codes = services.enrol_app(user=user, secret=SECRET, code=code(), at=NOW)
    sign_in(client, user)
    assert client.post(ASKED, {"code": f"{codes[3][:4]} {codes[3][4:]}"}).url == "/"
    assert acts(user)[-2:] == [
        ("recovery code used", {"from": "127.0.0.1"}),
        ("signed in", {"from": "127.0.0.1", "with": "recovery code"}),
    ]
    other = Client()
    sign_in(other, user)
    assert "wrong or was used" in other.post(ASKED, {"code": codes[3]}).text


def test_second_factors_are_not_among_djangos_pages(client):
    client.force_login(make_user(is_staff=True, is_superuser=True))
    assert client.get("/admin/").status_code == 200
    assert client.get("/admin/mfa/authenticator/").status_code == 404


@pytest.mark.parametrize("name", ["password", "password_code", "password_passkey"])
@pytest.mark.parametrize(("text", "status"), [("\x00", 400), ("x" * 10_000, 422)])
def test_what_cannot_be_proof_is_refused_in_words(client, enrolled, name, text, status):
    client.force_login(enrolled)
    typed = {"badge": "", "pin": "2580", "again": "2580", "password": PASSWORD, name: text}
    assert client.post(reverse("people:pin"), typed).status_code == status


def test_what_was_given_as_proof_shows_nowhere():
    assert repr(Given("a password", "123456", "answer", "ticket")) == "Given()"


def test_administrators_pages_ask_for_it_too(client):
    user = make_user(password=PASSWORD, is_staff=True, is_superuser=True)
    services.enrol_app(user=user, secret=SECRET, code=code(), at=timezone.now())
    client.post("/admin/login/", {"username": user.employee_number, "password": PASSWORD})
    assert client.get("/admin/").status_code == 302


# Proof


def test_signature_asks_for_the_code_where_the_site_does(enrolled):
    assert prove_identity(again(enrolled), PASSWORD) == "password"
    ask_of_site(signs=True)
    with pytest.raises(ProofRefused, match="code of your app too"):
        prove_identity(again(enrolled), PASSWORD)
    with pytest.raises(ProofRefused, match="wrong or was used"):
        prove_identity(again(enrolled), Given(PASSWORD, "000000"))
    assert prove_identity(again(enrolled), Given(PASSWORD, code())) == "code"


def test_code_without_the_password_proves_nothing_and_is_not_used_up(enrolled):
    ask_of_site(signs=True)
    with pytest.raises(WrongPassword):
        prove_identity(again(enrolled), Given("a guess", code()))
    assert prove_identity(again(enrolled), Given(PASSWORD, code())) == "code"


def test_whoever_has_none_and_needs_none_signs_by_password(user):
    ask_of_site("quality", signs=True)
    assert prove_identity(again(user), PASSWORD) == "password"


def test_nobody_signs_who_lacks_the_factor_that_the_role_needs(user):
    ask_of_site("instructor")
    with pytest.raises(ProofRefused, match="Set it up first"):
        prove_identity(again(user), PASSWORD)


@pytest.mark.django_db(transaction=True)
def test_code_that_two_acts_give_at_once_proves_one(enrolled):
    ask_of_site(signs=True)
    given = Given(PASSWORD, code())

    def prove(_n):
        try:
            return prove_identity(again(enrolled), given)
        except (TriedTooOften, ProofRefused):
            return "refused"
        finally:
            connection.close()

    with ThreadPoolExecutor(3) as pool:
        assert sorted(pool.map(prove, range(3))) == ["code", "refused", "refused"]


@pytest.mark.django_db(transaction=True)
def test_recovery_code_that_two_give_at_once_proves_one(user):
    codes = services.enrol_app(user=user, secret=SECRET, code=code(), at=NOW)

    def use(_n):
        try:
            return services.use_code(again(user), codes[0], timezone.now())
        except ProofRefused:
            return "refused"
        finally:
            connection.close()

    with ThreadPoolExecutor(3) as pool:
        assert sorted(pool.map(use, range(3))) == ["recovery code", "refused", "refused"]


def test_page_that_signs_shows_the_field_to_whom_it_asks(client, enrolled):
    client.force_login(enrolled)
    pin = reverse("people:pin")
    assert "password_code" not in client.get(pin).text
    ask_of_site(signs=True)
    page = client.get(pin).text
    assert 'name="password_code"' in page
    assert '<label class="form-label" for="id_password_code"' in " ".join(page.split())

    typed = {"badge": "", "pin": "2580", "again": "2580", "password": PASSWORD}
    assert "code of your app too" in client.post(pin, typed).text
    assert client.post(pin, typed | {"password_code": code()}).url == pin
    assert acts(enrolled)[-1] == ("badge and PIN set", {"badge": "", "proof": "code"})


# Removing, renewing, resetting


def test_own_app_is_removed_with_password_and_code_and_its_recovery_codes_with_it(
    client, enrolled, django_capture_on_commit_callbacks
):
    client.force_login(enrolled)
    app = Authenticator.objects.get(type="totp")
    remove = reverse("people:second_factor_remove", args=[app.pk])
    assert "code of your app too" in client.post(remove, {"password": PASSWORD}).text
    assert Authenticator.objects.count() == 2

    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(remove, {"password": PASSWORD, "password_code": code()})

    assert answer.url == OVERVIEW
    assert not Authenticator.objects.exists()
    assert acts(enrolled)[-1] == ("second factor removed", {"kind": "app", "proof": "code"})
    assert mail.outbox[-1].to == ["runa@skarnfell.example"]
    assert "a second factor was removed" in mail.outbox[-1].body
    assert client.get(remove).url == OVERVIEW


def test_nobody_removes_anybody_elses(client, enrolled):
    other = make_user(password=PASSWORD)
    client.force_login(other)
    app = Authenticator.objects.get(type="totp")
    client.post(
        reverse("people:second_factor_remove", args=[app.pk]),
        {"password": PASSWORD, "password_code": code()},
    )
    assert Authenticator.objects.count() == 2


def test_new_recovery_codes_void_the_old(client, user, clock):
    old = services.enrol_app(user=user, secret=SECRET, code=code(), at=NOW)
    clock.shift(30)
    client.force_login(user)
    answer = client.post(CODES, {"password": PASSWORD, "password_code": code()})
    new = re.findall(r"<li><code>(\d{4} \d{4})</code>", answer.text)
    assert len(new) == 10
    with pytest.raises(ProofRefused):
        services.use_code(again(user), old[0], timezone.now())
    assert services.use_code(again(user), new[0], timezone.now()) == "recovery code"


def reset_page(user):
    return reverse("people:sign_in_second_factor", args=[user.employee_number])


def test_administrator_takes_it_away_with_reason_and_password(
    client, enrolled, django_capture_on_commit_callbacks
):
    administrator = make_user("administrator", password=PASSWORD)
    client.force_login(administrator)
    given = {"reset-reason": "Telephone lost, seen in person", "reset-password": PASSWORD}
    page = reset_page(enrolled)
    for missing in given:
        assert client.post(page, given | {missing: ""}).status_code == 422
    assert "not your password" in client.post(page, given | {"reset-password": "a guess"}).text
    assert Authenticator.objects.count() == 2

    with django_capture_on_commit_callbacks(execute=True):
        assert client.post(page, given).status_code == 302

    assert not Authenticator.objects.exists()
    entry = TrailEntry.objects.get(act="second factor reset")
    assert entry.actor == administrator
    assert json.loads(entry.payload.body)["reason"] == "Telephone lost, seen in person"
    assert "every second factor was taken away" in mail.outbox[-1].body
    assert "has no second factor" in client.post(page, given).text


def test_reset_is_out_of_reach_for_others(client, enrolled):
    elsewhere = make_site("Aldergate", "AL", time_zone="Europe/London")
    given = {"reset-reason": "x", "reset-password": PASSWORD}
    for actor in (
        make_user("instructor", password=PASSWORD),
        make_user("quality", password=PASSWORD),
        make_user("administrator", site=elsewhere, password=PASSWORD),
    ):
        client.force_login(actor)
        assert client.post(reset_page(enrolled), given).status_code == 404
    enrolled.roles.create(site=elsewhere, role="quality")
    client.force_login(make_user("administrator", password=PASSWORD))
    assert "roles at another site" in client.post(reset_page(enrolled), given).text
    with pytest.raises(PeopleError, match="Another administrator"):
        services.reset_second_factors(
            user=enrolled, actor=enrolled, reason="x", proof="password", at=NOW
        )
    assert Authenticator.objects.count() == 2


def test_only_administrator_who_lost_theirs_is_helped_at_the_terminal(client):
    user = make_user("administrator", password=PASSWORD)
    services.enrol_app(user=user, secret=SECRET, code=code(), at=timezone.now())
    sign_ins.make_administrator(
        employee_number=user.employee_number,
        full_name="",
        password="another one, long enough",
        site=user.person.site,
        another=True,
        at=timezone.now(),
    )
    assert not Authenticator.objects.exists()
    entry = TrailEntry.objects.get(act="second factor reset")
    assert (entry.actor, entry.actor_label) == (None, "make_administrator")


def test_another_secret_key_is_said_and_the_reset_helps(client, enrolled, settings):
    settings.SECRET_KEY = "another one for tests alone, longer than fifty characters"
    ask_of_site(signs=True)
    with pytest.raises(ProofRefused, match="An administrator can reset it"):
        prove_identity(again(enrolled), Given(PASSWORD, code()))


def test_secret_key_is_changed_and_everybodys_factor_goes_with_it(user, clock, settings):
    [recovery, *_others] = services.enrol_app(
        user=user, secret=SECRET, code=code(), at=timezone.now()
    )
    before = settings.SECRET_KEY
    settings.SECRET_KEY = "another one for tests alone, longer than fifty characters"
    with pytest.raises(CommandError, match=f"neither .* those of {user.employee_number}[.]"):
        call_command("encrypt_anew")
    settings.SECRET_KEY_FALLBACKS = [before]
    call_command("encrypt_anew")
    settings.SECRET_KEY_FALLBACKS = []
    assert services.use_code(again(user), code(steps=1), timezone.now()) == "code"
    assert services.use_code(again(user), recovery, timezone.now()) == "recovery code"


# What a role needs


def test_role_that_needs_one_is_led_to_it_and_nothing_else_opens(client, user):
    client.force_login(user)
    assert client.get(reverse("people:person_list")).status_code == 200
    ask_of_site("instructor")

    for page in (reverse("people:person_list"), "/", reverse("people:pin")):
        assert client.get(page).url == OVERVIEW
        assert client.post(page).url == OVERVIEW
    page = client.get("/", follow=True).text
    assert "Your role needs a second factor" in page
    assert "none, and your role needs one" in page

    secret = re.search(r'enrol-secret">([A-Z2-7 ]+)<', client.get(APP).text)[1].replace(" ", "")
    client.post(APP, {"code": code(secret), "password": PASSWORD})
    assert client.get(reverse("people:person_list")).status_code == 200


def test_role_that_needs_none_goes_on(client):
    ask_of_site("instructor")
    client.force_login(make_user("quality"))
    assert client.get(reverse("people:person_list")).status_code == 200
    client.force_login(make_user())
    assert client.get(OWN).status_code == 200


def test_role_at_another_site_counts_by_that_sites_policy(client):
    elsewhere = make_site("Aldergate", "AL", time_zone="Europe/London")
    ask_of_site("quality")
    user = make_user()
    user.roles.create(site=elsewhere, role="quality")
    assert not again(user).needs_second_factor
    Site.objects.filter(prefix="AL").update(second_factor_roles=["quality"])
    assert again(user).needs_second_factor


def on_tablet(client):
    keeper = make_user("instructor", password=PASSWORD)
    tablet, token = tablet_services.declare_tablet(
        site=keeper.person.site, name="Bench room 2", actor=keeper, at=NOW
    )
    response = HttpResponse()
    tablets.set_cookie(response, tablet, token)
    client.cookies.update(response.cookies)


def test_badge_and_pin_open_for_looking_as_before(client, user):
    on_tablet(client)
    tablet_services.set_pin(user=user, pin="2580", badge="CARD-7", proof="password", at=NOW)
    ask_of_site("instructor", signs=True)
    client.post(reverse("people:tablet_open"), {"badge": "CARD-7", "pin": "2580"})
    assert client.get(reverse("people:person_list")).status_code == 200
    client.post(reverse("people:tablet_full"), {"password": PASSWORD})
    assert client.get(reverse("people:person_list")).url == OVERVIEW


def test_going_on_from_looking_asks_for_the_factor_as_signing_in_does(client, enrolled):
    on_tablet(client)
    tablet_services.set_pin(user=enrolled, pin="2580", badge="CARD-7", proof="password", at=NOW)
    client.post(reverse("people:tablet_open"), {"badge": "CARD-7", "pin": "2580"})
    full = reverse("people:tablet_full")
    assert 'name="password_code"' in client.get(full).text
    refused = client.post(full, {"password": PASSWORD})
    assert "code of your app too" in refused.text
    assert client.session["by_pin"]
    assert client.post(full, {"password": PASSWORD, "password_code": code()}).url == "/"
    assert "by_pin" not in client.session

    client.post(reverse("people:tablet_lock"))
    assert 'name="password_code"' not in client.get(full).text
    assert client.post(full, {"password": PASSWORD}).url == "/"


# The site's page


def policy_page(prefix="CA"):
    return reverse("people:site_sign_in", args=[prefix])


def test_administrator_sets_what_the_site_asks_with_reason_and_password(client):
    administrator = make_user("administrator", password=PASSWORD)
    make_user("quality")
    client.force_login(administrator)
    assert "nobody" in client.get(policy_page()).text
    given = {
        "second_factor_roles": ["quality", "administrator"],
        "second_factor_signs": "on",
        "shown": "nothing",
        "reason": "The customer asks for it",
        "password": PASSWORD,
    }
    for missing in ("reason", "password"):
        assert client.post(policy_page(), given | {missing: ""}).status_code == 422
    assert "not your password" in client.post(policy_page(), given | {"password": "x"}).text
    assert Site.objects.get(prefix="CA").second_factor_roles == []

    assert client.post(policy_page(), given).status_code == 302

    site = Site.objects.get(prefix="CA")
    assert site.second_factor_roles == ["administrator", "quality"]
    assert site.second_factor_signs
    entry = TrailEntry.objects.get(act="sign-in policy changed")
    assert json.loads(entry.payload.body) == {
        "before": "nothing",
        "after": "administrator,quality,signs",
        "reason": "The customer asks for it",
        "proof": "password",
    }
    assert client.get(policy_page()).url == OVERVIEW  # From their own next page on.


def test_what_somebody_else_changed_meanwhile_is_looked_at_first(client):
    client.force_login(make_user("administrator", password=PASSWORD))
    ask_of_site("quality")
    given = {"shown": "nothing", "reason": "x", "password": PASSWORD}
    assert "Somebody else changed this meanwhile" in client.post(policy_page(), given).text
    assert Site.objects.get(prefix="CA").second_factor_roles == ["quality"]


def test_roles_that_are_not_offered_are_refused(client):
    client.force_login(make_user("administrator", password=PASSWORD))
    given = {
        "second_factor_roles": ["kiosk"],
        "shown": "nothing",
        "reason": "x",
        "password": PASSWORD,
    }
    assert client.post(policy_page(), given).status_code == 422


def test_sign_in_page_before_the_password_speaks_the_browsers_language(client, enrolled):
    sign_in(client, enrolled)
    page = client.get(ASKED, headers={"accept-language": "de"}).text
    assert "Code Ihrer App" in page
