"""The bench check for programs: by a token of the site, and no more than the kiosk tells."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from django.core.cache import cache
from django.test import Client
from django.utils import timezone

from interfaces.models import ApiToken
from interfaces.services import api_tokens
from people.models import FormerEmployeeNumber
from tests.factories import (
    NOW,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from training.models import VisionTest

pytestmark = pytest.mark.django_db

ONE, MANY, CHANGES = "/api/v1/standing", "/api/v1/standings", "/api/v1/changes"


@pytest.fixture(autouse=True)
def _nobody_has_asked_yet():
    cache.clear()


@pytest.fixture
def site():
    return make_site()


@pytest.fixture
def administrator(site):
    return make_user("administrator", site=site)


@pytest.fixture
def token(site, administrator):
    return api_tokens.make_token(site=site, name="Line terminals", actor=administrator, at=NOW)[1]


@pytest.fixture
def ask(client, token):
    def get(path=ONE, said=token, **query):
        headers = {"Authorization": f"Bearer {said}"} if said else {}
        return client.get(path, query, headers=headers)

    return get


@pytest.fixture
def ask_many(client, token):
    def post(body):
        return client.post(
            MANY,
            body if isinstance(body, str) else json.dumps(body),
            content_type="application/json",
            headers={"Authorization": f"Bearer {token}"},
        )

    return post


@pytest.fixture
def scope():
    return make_scope(code="TERM-OP")


@pytest.fixture
def person(site, scope):
    made = make_person(site, employee_number="10377", full_name="Bruno Castellane")
    make_certificate(made, scope, issued_on=site.today() - timedelta(days=3), restriction="turrets")
    return made


def test_one_is_answered_with_everything_a_program_needs_and_no_name(ask, site, person):
    response = ask(employee_number="10377", scope="TERM-OP")

    certificate = person.certificates.get()
    assert response.status_code == 200
    assert response.headers["Cache-Control"] == "no-store"
    assert response.json() == {
        "employee_number": "10377",
        "scope": "TERM-OP",
        "day": site.today().isoformat(),
        "may_work": True,
        "standing": "certified",
        "only": "turrets",
        "through": certificate.valid_through.isoformat(),
        "certificate_number": certificate.number,
    }
    assert "Bruno" not in response.content.decode()


def test_day_may_be_given(ask, site, person):
    before = site.today() - timedelta(days=4)

    answer = ask(employee_number="10377", scope="TERM-OP", day=before.isoformat()).json()

    assert (answer["day"], answer["standing"]) == (before.isoformat(), "never_certified")


def test_why_a_standing_is_not_current_is_not_told(ask, site, scope):
    lapsed = make_person(site, employee_number="7")
    VisionTest.objects.create(
        test_id="V-1", person=lapsed, tested_on=site.today() - timedelta(days=600), passed=True
    )
    certificate = make_certificate(
        lapsed,
        scope,
        revision=make_revision(scope, vision_months=12),
        issued_on=site.today() - timedelta(days=30),
    )
    make_certificate(
        make_person(site, employee_number="8"), scope, issued_on=site.today() - timedelta(days=900)
    )

    by_eyes, by_time = (ask(employee_number=number, scope="TERM-OP").json() for number in "78")

    assert by_eyes["standing"] == "not_current"
    assert by_eyes | {"employee_number": "8"} == by_time
    assert certificate.number not in json.dumps(by_eyes)


@pytest.mark.parametrize(
    ("number", "code", "standing"),
    [
        ("99999", "TERM-OP", "unknown_person"),
        ("AWAY", "TERM-OP", "unknown_person"),
        ("10377", "NO-SUCH", "unknown_scope"),
        ("99999", "NO-SUCH", "unknown_person"),
        ("\0", "\0", "unknown_person"),
    ],
)
def test_unknown_persons_and_scopes_answer_alike(ask, site, person, scope, number, code, standing):
    make_certificate(make_person(make_site("Aldergate", "AL"), employee_number="AWAY"), scope)

    response = ask(employee_number=number, scope=code)

    assert response.status_code == 200
    assert response.json() == {
        "employee_number": number,
        "scope": code,
        "day": site.today().isoformat(),
        "may_work": False,
        "standing": standing,
        "only": None,
        "through": None,
        "certificate_number": None,
    }


def test_many_are_answered_in_the_order_asked(ask, ask_many, person):
    pairs = [("99999", "TERM-OP"), ("10377", "TERM-OP"), ("10377", "NONE"), ("10377", "TERM-OP")]

    response = ask_many(
        {"asked": [{"employee_number": number, "scope": code} for number, code in pairs]}
    )

    assert response.status_code == 200
    alone = [ask(employee_number=number, scope=code).json() for number, code in pairs]
    assert response.json() == {"answers": alone}


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ("{", 400),
        ({}, 422),
        ({"asked": []}, 422),
        ({"asked": [{"employee_number": "1", "scope": "A"}] * 501}, 422),
        ({"asked": [{"employee_number": "1"}]}, 422),
        ({"asked": [{"employee_number": "1", "scope": "A"}], "day": 0}, 422),
        ('{"asked": [{"employee_number": "\\ud800", "scope": "A"}]}', 422),
        (" " * (6 * 1024 * 1024), 413),
    ],
)
def test_body_that_does_not_fit_is_a_problem_with_its_reason(ask_many, body, status):
    response = ask_many(body)

    assert response.status_code == status
    assert response.headers["Content-Type"] == "application/problem+json"
    problem = response.json()
    assert (problem["status"], problem["type"]) == (status, "about:blank")
    assert problem["detail"].endswith((".", "where."))


@pytest.mark.parametrize(
    "query",
    [
        {},
        {"employee_number": "1"},
        {"employee_number": "", "scope": "A"},
        {"employee_number": "1" * 65, "scope": "A"},
        {"employee_number": "1", "scope": "A", "day": "25.11.2026"},
        {"employee_number": "1", "scope": "A", "day": "2026-02-30"},
        {"employee_number": "1", "scope": "A", "day": "20261125"},
    ],
)
def test_question_that_does_not_fit_says_where(ask, query):
    response = ask(**query)

    assert response.status_code == 422
    assert all(error.startswith("query.") for error in response.json()["errors"])


def test_500_are_answered_in_a_fixed_number_of_queries(ask_many, person, django_assert_num_queries):
    pairs = [
        {"employee_number": str(number), "scope": "TERM-OP"} for number in range(9_900, 10_400)
    ]
    ask_many({"asked": pairs[:1]})

    with django_assert_num_queries(4):  # The token, people, former numbers, spans.
        response = ask_many({"asked": pairs})

    assert sum(answer["may_work"] for answer in response.json()["answers"]) == 1


def test_one_is_answered_in_three_queries(ask, person, django_assert_num_queries):
    ask(employee_number="10377", scope="TERM-OP")

    with django_assert_num_queries(3):
        ask(employee_number="10377", scope="TERM-OP")


# Tokens


def test_token_that_is_missing_unknown_or_revoked_is_refused_alike(ask, token, administrator):
    revoked, revoked_token = api_tokens.make_token(
        site=administrator.person.site, name="Old", actor=administrator, at=NOW
    )
    api_tokens.revoke_token(token=revoked, actor=administrator, at=NOW)

    refused = [
        ask(said=bad_token, employee_number="1", scope="A")
        for bad_token in ("", "jw-none", revoked_token, token.upper(), token[:-1], "\u00e9")
    ]

    assert {response.status_code for response in refused} == {401}
    assert len({response.content for response in refused}) == 1
    assert {response.headers["WWW-Authenticate"] for response in refused} == {"Bearer"}
    assert {response.headers["Content-Type"] for response in refused} == {
        "application/problem+json"
    }


@pytest.mark.parametrize("path", [ONE, CHANGES])
def test_sign_in_is_no_token(client, path):
    client.force_login(make_user("quality"))
    before = client.session.session_key

    response = client.get(path, {"employee_number": "1", "scope": "A"})

    assert response.status_code == 401
    assert not response.cookies
    assert client.session.session_key == before


def test_token_needs_neither_cookie_nor_csrf_and_gets_none(ask, token, person):
    body = {"asked": [{"employee_number": "10377", "scope": "TERM-OP"}]}
    strict = Client(enforce_csrf_checks=True)
    response = strict.post(
        MANY,
        json.dumps(body),
        content_type="application/json",
        headers={"Authorization": f"Bearer {token}"},
    )

    assert response.status_code == 200
    assert not response.cookies
    assert not ask(employee_number="10377", scope="TERM-OP").cookies


def test_token_answers_for_its_site_alone(client, ask, person, administrator):
    other_site = make_site("Aldergate", "AL", time_zone="Europe/London")
    chief = make_user("administrator", site=other_site)
    _made, other = api_tokens.make_token(site=other_site, name="There", actor=chief, at=NOW)

    assert ask(employee_number="10377", scope="TERM-OP").json()["may_work"]
    answer = ask(said=other, employee_number="10377", scope="TERM-OP").json()
    assert answer["standing"] == "unknown_person"


def test_day_is_the_one_at_the_site_of_the_token(ask, administrator, monkeypatch):
    far = make_site("Kiritimati works", "KI", time_zone="Pacific/Kiritimati")
    chief = make_user("administrator", site=far)
    _made, far_token = api_tokens.make_token(site=far, name="There", actor=chief, at=NOW)
    noon = datetime(2026, 11, 25, 12, tzinfo=UTC)
    monkeypatch.setattr(timezone, "now", lambda: noon)

    assert ask(employee_number="1", scope="A").json()["day"] == "2026-11-25"
    assert ask(said=far_token, employee_number="1", scope="A").json()["day"] == "2026-11-26"


def test_only_the_hash_of_a_token_is_kept(token):
    row = ApiToken.objects.get()

    stored = {str(getattr(row, field.attname)) for field in row._meta.fields}
    assert token not in stored
    assert token[3:] not in "".join(stored)
    assert len(row.token_hash) == 64
    assert len(bytes.fromhex(token.removeprefix("jw-"))) == 32


def test_day_of_the_latest_use_is_kept_and_no_more(ask, site, person, django_assert_num_queries):
    assert ApiToken.objects.get().last_used_on is None
    ask(employee_number="10377", scope="TERM-OP")
    assert ApiToken.objects.get().last_used_on == site.today()
    with django_assert_num_queries(3):
        ask(employee_number="10377", scope="TERM-OP")


def test_more_requests_than_allowed_wait_for_the_next_minute(ask, settings, monkeypatch):
    settings.API_REQUESTS_A_MINUTE = 3
    at = datetime(2026, 11, 25, 12, 0, 18, tzinfo=UTC)
    monkeypatch.setattr(timezone, "now", lambda: at)
    answered = [ask(employee_number="1", scope="A").status_code for _one in range(4)]
    assert answered == [200, 200, 200, 429]

    response = ask(employee_number="1", scope="A")
    assert response.headers["Retry-After"] == "42"
    assert response.headers["Content-Type"] == "application/problem+json"
    assert "42 s" in response.json()["detail"]

    monkeypatch.setattr(timezone, "now", lambda: at + timedelta(seconds=42))
    assert ask(employee_number="1", scope="A").status_code == 200


def test_each_token_has_its_own_count(ask, settings, site, administrator):
    settings.API_REQUESTS_A_MINUTE = 1
    _made, other = api_tokens.make_token(site=site, name="Other", actor=administrator, at=NOW)
    for said in (None, other):
        more = {} if said is None else {"said": said}
        assert ask(employee_number="1", scope="A", **more).status_code == 200
    assert ask(employee_number="1", scope="A").status_code == 429


def test_former_number_answers_as_asked_for(ask, person):
    FormerEmployeeNumber.objects.create(person=person, employee_number="377", until_on=NOW)

    answer = ask(employee_number="377", scope="TERM-OP").json()

    assert (answer["employee_number"], answer["may_work"]) == ("377", True)
