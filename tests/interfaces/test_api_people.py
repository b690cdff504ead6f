"""People handed over by HTTP: by a token made for it, of its site alone, by the rules of a list."""

import json

import pytest
from django.core.cache import cache

from interfaces.services import api_tokens
from people.models import Person, Role, SiteRole
from records.models import TrailEntry
from tests.factories import NOW, make_person, make_site, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _nobody_has_asked_yet():
    cache.clear()


@pytest.fixture
def administrator():
    return make_user(Role.ADMINISTRATOR, site=make_site())


@pytest.fixture
def hand_over(client, administrator):
    _made, token = api_tokens.make_token(
        site=make_site(), name="HR", actor=administrator, at=NOW, may_bring_people=True
    )

    def post(*people, said=token, **more):
        return client.post(
            "/api/v1/people",
            json.dumps({"people": people, **more}),
            content_type="application/json",
            headers={"Authorization": f"Bearer {said}"},
        )

    return post


def row(person, **more):
    return {"employee_number": person.employee_number, "full_name": person.full_name, **more}


def test_dry_by_default_then_written_under_the_name_of_the_token(hand_over, administrator):
    missing = make_person()
    people = [row(administrator.person), {"employee_number": "00471", "full_name": "Ada"}]
    answer = hand_over(*people).json()
    assert answer == {
        "written": False,
        "new": 1,
        "changed": 0,
        "left_alone": 1,
        "at_work": 2,
        "changes": [{"employee_number": "00471", "is_new": True, "fields": ["full_name", "site"]}],
        "not_among_them": [missing.employee_number],
        "left": 0,
        "refusals": [],
        "problems": [],
    }
    assert not Person.objects.filter(employee_number="00471").exists()
    answer = hand_over(*people, write=True, leave=True).json()
    assert (answer["written"], answer["left"]) == (True, 1)
    labels = TrailEntry.objects.exclude(act="API token made").values_list("actor_label", flat=True)
    assert set(labels) == {"token HR"}


def test_token_that_only_reads_and_one_whose_maker_administers_no_more_enter_nobody(
    hand_over, administrator
):
    _made, reads = api_tokens.make_token(site=make_site(), name="Line", actor=administrator, at=NOW)
    person = {"employee_number": "7001", "full_name": "Ada"}
    assert hand_over(person, said=reads, write=True).status_code == 403
    SiteRole.objects.filter(user=administrator).delete()
    answer = hand_over(person, write=True)
    assert (answer.status_code, answer["Content-Type"]) == (403, "application/problem+json")
    assert not Person.objects.filter(employee_number="7001").exists()


def test_people_of_other_sites_and_wrong_rows_are_refused_by_row(hand_over):
    there = make_person(make_site("Other", "OT"))
    answer = hand_over(
        row(there, email="mine@example.org"),
        {"employee_number": "7001", "full_name": "Ada", "started_on": "soon"},
        {"employee_number": "7002", "full_name": "Bo", "site": "OT"},
        write=True,
    )
    assert answer.status_code == 409
    assert [error.split(":")[0] for error in answer.json()["errors"]] == ["1", "2", "3"]
    assert not Person.objects.filter(employee_number__startswith="700").exists()


def test_address_of_whoever_holds_a_role_elsewhere_is_not_the_tokens_to_change(hand_over):
    chief = make_user(Role.ADMINISTRATOR, site=make_site("Other", "OT"), person=make_person())
    answer = hand_over(row(chief.person, email="mine@example.org"), write=True)
    assert answer.status_code == 409
    assert "administrator of all their sites" in answer.json()["errors"][0]


def test_what_nobody_sees_is_dropped(hand_over):
    hand_over({"employee_number": "7001", "full_name": "A\u0000da\u200b"}, write=True)
    assert Person.objects.get(employee_number="7001").full_name == "Ada"


def test_more_than_a_share_never_leave_at_once(hand_over):
    people = [make_person() for _each in range(5)]
    answer = hand_over(*map(row, people[:2]), write=True, leave=True)
    assert answer.status_code == 409
    assert "4 of 6 people would leave" in answer.json()["detail"]
    assert not Person.objects.filter(left_on__isnull=False).exists()


@pytest.mark.parametrize(
    "body",
    [
        {"people": []},
        {"people": [{"employee_number": "7", "vision_test": "2026-01-02"}]},
        {"people": [{"employee_number": "7" * 5000}]},
        {"people": [{"employee_number": "7"}], "most_leaving_percent": 101},
    ],
)
def test_what_does_not_fit_is_422(client, hand_over, body):
    assert hand_over(*body["people"], **{k: v for k, v in body.items() if k != "people"}
                     ).status_code == 422  # fmt: skip


def test_as_many_people_as_it_takes_fit_into_one_request(hand_over):
    """Ten thousand, in more bytes than whoever is not signed in may send elsewhere."""
    people = [
        {"employee_number": f"{n:05}", "full_name": f"Leave this one {n} out, {'x' * 60}"}
        for n in range(10_001)
    ]
    answer = hand_over(*people)
    assert len(answer.wsgi_request.body) > 1024 * 1024
    assert answer.status_code == 422
    assert "10000" in answer.content.decode()
