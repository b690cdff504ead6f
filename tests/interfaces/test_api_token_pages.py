"""Administrators make tokens for programs, see each once, and revoke them."""

import pytest

from interfaces.exceptions import InterfaceError
from interfaces.models import ApiToken
from interfaces.services import api_tokens
from records.models import TrailEntry
from tests.factories import NOW, make_site, make_user

pytestmark = pytest.mark.django_db

PAGE = "/api-tokens/"


@pytest.fixture
def administrator(client):
    user = make_user("administrator")
    client.force_login(user)
    return user


def test_token_is_shown_once_and_answers(client, administrator):
    response = client.post(PAGE, {"site": "CA", "name": "Line terminals"})

    token = response.context["token"]
    assert token in response.content.decode()
    assert "no-store" in response.headers["Cache-Control"]
    assert token not in client.get(PAGE).content.decode()
    assert token[:10] in client.get(PAGE).content.decode()
    answered = client.get(
        "/api/v1/standing",
        {"employee_number": "1", "scope": "A"},
        headers={"Authorization": f"Bearer {token}"},
    )
    assert answered.status_code == 200


def test_making_and_revoking_stand_in_the_trail_without_the_token(client, administrator):
    token = client.post(PAGE, {"site": "CA", "name": "MES"}).context["token"]
    made = ApiToken.objects.get()
    client.post(f"/api-tokens/{made.pk}/revoke/")

    entries = TrailEntry.objects.filter(about_id=str(made.pk), act__startswith="API token")
    assert [entry.act for entry in entries.order_by("number")] == [
        "API token made",
        "API token revoked",
    ]
    assert all(token not in entry.payload.body for entry in entries)
    assert made.made_by == administrator


def test_revoked_token_answers_nobody_and_stays_revoked(client, administrator):
    token = client.post(PAGE, {"site": "CA", "name": "MES"}).context["token"]
    made = ApiToken.objects.get()
    page = client.post(f"/api-tokens/{made.pk}/revoke/", follow=True)
    assert "is revoked" in page.content.decode()

    refused = client.get("/api/v1/standing", headers={"Authorization": f"Bearer {token}"})
    assert refused.status_code == 401
    first = ApiToken.objects.get().revoked_at
    client.post(f"/api-tokens/{made.pk}/revoke/")
    assert ApiToken.objects.get().revoked_at == first
    assert "Revoke<" not in client.get(PAGE).content.decode()


def test_name_is_free_again_once_revoked(client, administrator):
    client.post(PAGE, {"site": "CA", "name": "MES"})
    again = client.post(PAGE, {"site": "CA", "name": "mes"})
    assert again.status_code == 422
    assert "already" in again.content.decode()

    client.post(f"/api-tokens/{ApiToken.objects.get().pk}/revoke/")
    assert client.post(PAGE, {"site": "CA", "name": "MES"}).status_code == 200


def test_tokens_of_other_sites_are_out_of_reach(client, administrator):
    other_site = make_site("Aldergate", "AL")
    chief = make_user("administrator", site=other_site)
    made, _token = api_tokens.make_token(site=other_site, name="Theirs", actor=chief, at=NOW)

    assert "Theirs" not in client.get(PAGE).content.decode()
    assert client.post(f"/api-tokens/{made.pk}/revoke/").status_code == 404
    assert client.post(PAGE, {"site": "AL", "name": "Mine"}).status_code == 422
    with pytest.raises(InterfaceError, match="administrators"):
        api_tokens.make_token(site=other_site, name="Mine", actor=administrator, at=NOW)
    with pytest.raises(InterfaceError, match="administrators"):
        api_tokens.revoke_token(token=made, actor=administrator, at=NOW)


@pytest.mark.parametrize("roles", [(), ("instructor",), ("quality",), ("line_lead",)])
def test_others_make_no_tokens(client, roles):
    client.force_login(make_user(*roles))

    assert client.get(PAGE).status_code == 403
    assert client.post(PAGE, {"site": "CA", "name": "MES"}).status_code == 403
    assert not ApiToken.objects.exists()
