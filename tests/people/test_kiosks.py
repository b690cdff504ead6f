"""A kiosk signs in by itself, opens the bench check alone, and stays signed in."""

import pytest
from django.conf import settings
from django.test import RequestFactory

from people.exceptions import PeopleError
from people.middleware.sign_ins import restrict_kiosks
from people.models import FormerEmployeeNumber, User
from people.services import kiosks, people, sign_ins
from records.models import TrailEntry
from tests.factories import NOW, make_kiosk, make_person, make_site, make_user

pytestmark = pytest.mark.django_db

CLOSED = (
    "/register/",
    "/my-card/",
    "/exercises/",
    "/criteria/",
    "/people/",
    "/account/password/change/",
    "/account/email/",
    "/admin/",
    "/no-such-page/",
)


@pytest.fixture
def administrator():
    return make_user("administrator")


def sign_in(client, name, password):
    return client.post("/account/login/", {"login": name, "password": password})


def make_by_form(client, administrator, name="kiosk-line-3"):
    client.force_login(administrator)
    response = client.post("/kiosks/", {"site": "CA", "name": name})
    client.logout()
    return response


def test_administrator_makes_a_kiosk_and_sees_its_password_once(client, administrator):
    response = make_by_form(client, administrator)

    password = response.context["password"]
    assert password in response.content.decode()
    assert "no-store" in response.headers["Cache-Control"]
    kiosk = User.objects.get(employee_number="kiosk-line-3")
    assert kiosk.person is None
    assert kiosk.role_names() == {"kiosk"}
    assert TrailEntry.objects.filter(act="kiosk made", about_id=str(kiosk.pk)).exists()
    client.force_login(administrator)
    assert password not in client.get("/kiosks/").content.decode()


def test_kiosk_signs_in_and_lands_on_the_bench_check(client, administrator):
    password = make_by_form(client, administrator).context["password"]

    response = sign_in(client, "kiosk-line-3", password)

    assert response.status_code == 302
    response = client.get("/", follow=True)
    assert response.request["PATH_INFO"] == "/check/"
    assert response.status_code == 200


@pytest.mark.parametrize("path", CLOSED)
def test_kiosk_opens_nothing_else(client, path):
    client.force_login(make_kiosk())

    assert client.get(path).status_code == 403
    assert client.post(path).status_code == 403


def test_kiosk_is_led_to_nothing_else(client):
    client.force_login(make_kiosk())

    links = client.get("/check/").context["navigation"]["all"]

    assert [link["url"] for link in links] == ["/check/"]


def test_role_opens_nothing_for_people(client):
    """Should a person be given the role by hand, it is as if they had not."""
    user = make_user("kiosk")
    client.force_login(user)

    assert "kiosk" not in user.role_names()
    assert client.get("/check/").status_code == 403


def test_people_are_asked_nothing_more_because_there_are_kiosks(client, django_assert_num_queries):
    user = make_user()
    request = RequestFactory().get("/my-card/")
    request.user = User.objects.select_related("person").get(pk=user.pk)

    with django_assert_num_queries(0):
        assert restrict_kiosks(lambda request: "an answer")(request) == "an answer"


def test_kiosk_stays_signed_in_where_people_do_not(client):
    client.force_login(make_kiosk())
    client.get("/check/")
    days = settings.KIOSK_IDLE_DAYS * 24 * 3600
    assert client.session.get_expiry_age() == days
    assert not client.session.get_expire_at_browser_close()
    assert client.cookies[settings.SESSION_COOKIE_NAME]["max-age"] == days

    client.force_login(make_user("line_lead"))
    client.get("/check/")
    assert client.session.get_expire_at_browser_close()


def test_another_password_ends_the_session_of_a_kiosk(client, administrator):
    kiosk = make_kiosk(password="old")
    client.force_login(kiosk)
    kiosks.give_kiosk_password(kiosk=kiosk, actor=administrator, at=NOW)

    assert client.get("/check/").status_code == 302


def test_closed_kiosk_is_signed_out_and_opens_again(client, administrator):
    kiosk = make_kiosk()
    client.force_login(kiosk)
    other = client.__class__()
    other.force_login(administrator)
    other.post(f"/kiosks/{kiosk.employee_number}/switch/", {"act": "close"})
    assert client.get("/check/").status_code == 302

    other.post(f"/kiosks/{kiosk.employee_number}/switch/", {"act": "open"})
    client.force_login(kiosk)
    assert client.get("/check/").status_code == 200
    acts = list(TrailEntry.objects.order_by("number").values_list("act", flat=True))
    assert acts[-2:] == ["kiosk closed", "kiosk opened again"]


def test_kiosk_of_another_site_is_out_of_reach(client, administrator):
    there = make_site("Aldergate", "AL")
    kiosk = make_kiosk(there)
    client.force_login(administrator)

    assert client.post(f"/kiosks/{kiosk.employee_number}/password/").status_code == 404
    response = client.post("/kiosks/", {"site": "AL", "name": "kiosk-1"})
    assert response.status_code == 422
    with pytest.raises(PeopleError, match="administrators"):
        kiosks.make_kiosk(site=there, name="kiosk-1", actor=administrator, at=NOW)


def test_name_is_nobodys_number_now_or_before(client, administrator):
    person = make_person(employee_number="K7")
    FormerEmployeeNumber.objects.create(person=person, employee_number="K6", until_on=NOW)
    make_kiosk(name="K5")
    client.force_login(administrator)
    for name in ("K7", "k6", "K5"):
        response = client.post("/kiosks/", {"site": "CA", "name": name})
        assert response.status_code == 422
        assert "how somebody else is known" in response.content.decode()

    with pytest.raises(PeopleError, match="sign-in K5"):
        people.enrol_person(
            employee_number="K5",
            full_name="Somebody",
            site=make_site(),
            actor=administrator,
            at=NOW,
        )


def test_people_are_given_no_role_of_a_kiosk(client, administrator):
    person = make_person()
    client.force_login(administrator)

    page = client.get(f"/people/{person.employee_number}/sign-in/")
    assert "kiosk" not in dict(page.context["form"].fields["CA"].choices)
    with pytest.raises(PeopleError, match="kiosk is nobody"):
        sign_ins.open_sign_in(
            person=person, roles=[(make_site(), "kiosk")], actor=administrator, at=NOW
        )
