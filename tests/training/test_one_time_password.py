"""A password that somebody else has seen opens nothing but the page to change it."""

import pytest
from django.urls import reverse

from tests.factories import PASSWORD, make_user
from training.exceptions import ProofRefused
from training.proof import prove_identity

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
    answer = client.get(reverse("account_reauthenticate"), follow=True)

    assert answer.redirect_chain == [(CHANGE, 302)]
    assert "given to you by somebody else" in answer.content.decode()


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
