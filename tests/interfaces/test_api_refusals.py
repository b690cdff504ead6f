"""Whatever is asked for under the API's address is refused in one form, RFC 9457's."""

import pytest

from interfaces.services import api_tokens
from interfaces.views import api
from tests.factories import NOW, make_site, make_user

pytestmark = pytest.mark.django_db

KNOWN = {"employee_number": "10377", "scope": "TERM-OP"}


@pytest.fixture
def bearer():
    site = make_site()
    administrator = make_user("administrator", site=site)
    _made, token = api_tokens.make_token(site=site, name="Line", actor=administrator, at=NOW)
    return {"Authorization": f"Bearer {token}"}


def is_problem(response, status):
    assert response.status_code == status
    assert response["Content-Type"] == "application/problem+json"
    body = response.json()
    assert body["status"] == status
    assert body["detail"]
    return body


@pytest.mark.parametrize(
    "path", ["", "nothing", "standing/", "standings/1", "docs", "openapi.json/", "../v1/x"]
)
@pytest.mark.parametrize("method", ["get", "post", "delete"])
def test_address_that_is_not_there(client, bearer, path, method):
    is_problem(getattr(client, method)(f"/api/v1/{path}", headers=bearer), 404)


@pytest.mark.parametrize(
    ("path", "method", "allowed"),
    [
        ("standing", "post", "GET"),
        ("standing", "delete", "GET"),
        ("standings", "get", "POST"),
        ("changes", "put", "GET"),
        ("openapi.json", "post", "GET, HEAD"),
    ],
)
def test_method_that_is_not_answered(client, bearer, path, method, allowed):
    response = getattr(client, method)(f"/api/v1/{path}", headers=bearer)
    is_problem(response, 405)
    assert response["Allow"] == allowed


@pytest.mark.parametrize(
    ("path", "query", "unknown"),
    [
        ("standing", KNOWN | {"dya": "2026-01-01"}, ["query.dya"]),
        ("standing", {"employe_number": "10377", "scope": "TERM-OP"}, ["query.employe_number"]),
        ("standing", KNOWN | {"b": "1", "a": ""}, ["query.a", "query.b"]),
        ("changes", {"since": "2026-01-01T00:00:00Z", "page": "2"}, ["query.page"]),
    ],
)
def test_parameter_that_there_is_not_is_named(client, bearer, path, query, unknown):
    body = is_problem(client.get(f"/api/v1/{path}", query, headers=bearer), 400)
    assert body["errors"] == unknown


def test_parameter_beside_a_body_is_named(client, bearer):
    response = client.post(
        "/api/v1/standings?day=2026-01-01",
        {"asked": [KNOWN]},
        content_type="application/json",
        headers=bearer,
    )
    assert is_problem(response, 400)["errors"] == ["query.day"]


def test_whoever_shows_no_token_is_told_of_no_parameter(client):
    is_problem(client.get("/api/v1/standing", {"dya": "1"}), 401)


def test_fault_of_the_sites_is_answered_in_the_same_form_and_noticed(client, bearer, monkeypatch):
    def broken(*_arguments, **_more):
        raise ZeroDivisionError("Broken.")

    monkeypatch.setattr(api.bench_check, "answer", broken)
    with pytest.raises(ZeroDivisionError):
        client.get("/api/v1/standing", KNOWN, headers=bearer)
    client.raise_request_exception = False
    body = is_problem(client.get("/api/v1/standing", KNOWN, headers=bearer), 500)
    assert "Broken" not in str(body)
