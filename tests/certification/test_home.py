"""Where each role's work is, and how somebody stands, shown on their page."""

from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model

from certification import ports
from tests.factories import (
    make_certificate,
    make_person,
    make_scope,
    make_site,
    make_user,
)

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("roles", "leads_to"),
    [
        pytest.param((), "/my-card/", id="operator"),
        pytest.param(("operator",), "/my-card/", id="operator by role"),
        pytest.param(("line_lead",), "/check/", id="line lead"),
        pytest.param(("line_lead", "quality"), "/register/", id="quality who leads"),
        pytest.param(("quality",), "/register/", id="quality"),
        pytest.param(("instructor",), "/bench/", id="instructor"),
        pytest.param(("administrator",), "/set-up/", id="administrator of a site not set up"),
        pytest.param(("quality", "instructor"), "/bench/", id="quality who teaches"),
        pytest.param(("administrator", "quality"), "/set-up/", id="quality who administers"),
    ],
)
def test_everybody_is_led_to_where_their_work_is(client, roles, leads_to):
    client.force_login(make_user(*roles))

    response = client.get("/", follow=True)

    assert response.redirect_chain == [(leads_to, 302)]
    assert response.status_code == 200


@pytest.mark.parametrize(
    ("roles", "leads_to"),
    [
        pytest.param(("administrator",), "/people/", id="administrator"),
        pytest.param(("administrator", "quality"), "/register/", id="quality who administers"),
        pytest.param(("administrator", "instructor"), "/bench/", id="instructor who administers"),
    ],
)
def test_administrator_of_a_site_that_is_set_up_is_led_on(client, roles, leads_to):
    before = ports.register_first_page(lambda _user, _now: False)
    client.force_login(make_user(*roles))
    try:
        assert client.get("/").url == leads_to
    finally:
        assert before is not None
        ports.register_first_page(before[1], before[0])


def test_stranger_signs_in_first_and_comes_back(client):
    response = client.get("/")

    assert response.status_code == 302
    assert response.url == "/account/login/?next=/"


def test_sign_in_that_is_nobodys_has_no_card(client):
    client.force_login(get_user_model().objects.create_user("machine"))

    assert client.get("/").url == "/my-card/"
    assert client.get("/my-card/").status_code == 404


def test_home_is_only_read(client):
    client.force_login(make_user())

    assert client.post("/").status_code == 405


# Standing as a part of somebody's page


def standing_of(client, person):
    return client.get(f"/people/{person.employee_number}/standing/")


def test_standing_lists_scopes_with_what_each_asks_for(client):
    today = make_site().today()
    scope = make_scope(title="Terminals, operator")
    certificate = make_certificate(
        make_person(), scope, issued_on=today - timedelta(days=10), restriction="cups alone"
    )
    client.force_login(make_user("instructor"))

    page = standing_of(client, certificate.person).content.decode()

    assert "Terminals, operator" in page
    assert certificate.number in page
    assert f"/people/{certificate.person.employee_number}/scopes/{scope.code}/" in page


def test_standing_of_whoever_left_is_still_told(client):
    today = make_site().today()
    person = make_person(left_on=today - timedelta(days=30))
    certificate = make_certificate(person, issued_on=today - timedelta(days=60))
    client.force_login(make_user("quality"))

    assert certificate.number in standing_of(client, person).content.decode()


def test_own_standing_is_read_by_oneself(client):
    user = make_user()
    client.force_login(user)

    assert "never certified" in standing_of(client, user.person).content.decode()


def test_standing_is_not_told_to_administrators_nor_found_by_others(client):
    certificate = make_certificate()
    person = certificate.person

    assert standing_of(client, person).status_code == 302
    client.force_login(make_user("administrator"))
    page = standing_of(client, person).content.decode()
    assert certificate.number not in page
    assert "shown to their line lead" in page
    for user in (
        make_user(),
        make_user("line_lead"),
        make_user("quality", site=make_site("Aldergate", "AL")),
    ):
        client.force_login(user)
        assert standing_of(client, person).status_code == 404
