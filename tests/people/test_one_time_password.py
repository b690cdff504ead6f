"""A password that somebody else has seen opens nothing but the page to change it."""

import pytest
from django.http import HttpResponse
from django.urls import reverse

from people.exceptions import ProofRefused
from people.middleware import tablets
from people.services import tablets as tablet_services
from people.services.proof import prove_identity
from tests.factories import NOW, PASSWORD, make_user

pytestmark = pytest.mark.django_db

OWN = "a lamp over the far bench"
CHANGE = reverse("account_change_password")


@pytest.fixture
def newcomer(client):
    user = make_user(password=PASSWORD, password_is_one_time=True)
    client.force_login(user)
    return user


def change(client, to):
    return client.post(CHANGE, {"oldpassword": PASSWORD, "password1": to, "password2": to})


def test_every_page_leads_to_choosing_a_password(client, newcomer):
    answer = client.get(reverse("people:pin"), follow=True)

    assert answer.redirect_chain == [(CHANGE, 302)]
    assert "given to you by somebody else" in answer.content.decode()


def test_shared_tablet_locks_and_opens_under_it(client, newcomer):
    keeper = make_user("instructor", password=PASSWORD)
    tablet, token = tablet_services.declare_tablet(
        site=keeper.person.site, name="Bench room 2", actor=keeper, at=NOW
    )
    response = HttpResponse()
    tablets.set_cookie(response, tablet, token)
    client.cookies.update(response.cookies)
    lock = reverse("people:tablet")

    assert client.get("/").url == CHANGE
    assert client.get(reverse("people:tablet_awake")).status_code == 204
    assert client.post(reverse("people:tablet_lock")).url == lock
    assert client.get("/").url.startswith(lock)
    page = client.get(lock)
    assert page.status_code == 200
    assert "Locked" in page.text

    tablet_services.set_pin(user=keeper, pin="2580", badge="CARD-7", proof="password", at=NOW)
    answer = client.post(reverse("people:tablet_full"), {"password": PASSWORD})
    assert answer.url == "/"
    assert client.get("/").url == CHANGE
    badge = {"badge": "CARD-7", "pin": "2580"}
    assert client.post(reverse("people:tablet_open"), badge).status_code == 302
    assert client.session["_auth_user_id"] == str(keeper.pk)


def test_own_password_opens_the_pages(client, newcomer):
    answer = change(client, OWN)

    assert (answer.status_code, answer.url) == (302, "/")
    newcomer.refresh_from_db()
    assert newcomer.check_password(OWN)
    assert not newcomer.password_is_one_time


def test_the_given_password_cannot_be_kept(client, newcomer):
    answer = change(client, PASSWORD)

    assert "This is the password you were given" in answer.content.decode()
    newcomer.refresh_from_db()
    assert newcomer.password_is_one_time


def test_signing_out_stays_possible(client, newcomer):
    assert client.post(reverse("account_logout")).url == reverse("account_login")


def test_nothing_is_signed_under_a_one_time_password(newcomer):
    with pytest.raises(ProofRefused):
        prove_identity(newcomer, PASSWORD)

    newcomer.password_is_one_time = False
    assert prove_identity(newcomer, PASSWORD) == "password"
