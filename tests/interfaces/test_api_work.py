"""Work handed over by HTTP: by a token made for it, once however often, of its site alone."""

import json
from datetime import timedelta

import pytest
from django.core.cache import cache

from interfaces.services import api_tokens
from people.models import Role, SiteRole
from people.services.people import change_person
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests.factories import (
    NOW,
    TODAY,
    make_person,
    make_scope,
    make_site,
    make_user,
    write_down,
)
from training.models import PracticeRecord
from training.services import facts

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _nobody_has_asked_yet():
    cache.clear()


@pytest.fixture
def administrator():
    return make_user(Role.ADMINISTRATOR, site=make_site())


@pytest.fixture
def hand_over(client, administrator):
    make_scope(code="TERM-OP")
    _made, token = api_tokens.make_token(
        site=make_site(), name="MES", actor=administrator, at=NOW, may_record_work=True
    )

    def post(*rows, said=token):
        return client.post(
            "/api/v1/work",
            json.dumps({"work": rows}),
            content_type="application/json",
            headers={"Authorization": f"Bearer {said}"},
        )

    return post


def row(person, **more):
    return {
        "employee_number": getattr(person, "employee_number", person),
        "scope": "TERM-OP",
        "worked_on": TODAY.isoformat(),
        "reference": "WO-1",
        **more,
    }


def test_work_is_recorded_once_however_often_it_is_sent(hand_over):
    person = make_person()
    write_down()
    rows = [row(person), row(person, reference="wo-1"), row(person, reference="WO-2")]
    assert hand_over(*rows).json() == {"recorded": 2, "already": 1, "problems": []}
    assert hand_over(*rows).json() == {"recorded": 0, "already": 3, "problems": []}
    assert sorted(person.practice.values_list("reference", "confirmed_by")) == [
        ("WO-1", None),
        ("WO-2", None),
    ]
    entries = TrailEntry.objects.filter(act="practice imported")
    assert set(entries.values_list("actor_label", flat=True)) == {"token MES"}
    assert [str(fault) for fault in verify_records().faults] == []


def test_work_that_quality_withdrew_is_named_and_comes_back_by_hand_alone(hand_over):
    person, quality = make_person(), make_user(Role.QUALITY)
    write_down()
    rows = [row(person), row(person, reference="WO-2")]
    hand_over(*rows)

    def withdraw(day):
        facts.withdraw_practice(
            practice=person.practice.not_withdrawn().get(reference="WO-1"),
            reason="It was somebody else.",
            actor=quality,
            at=NOW + timedelta(days=day),
            proof="password",
        )

    withdraw(1)
    answer = hand_over(*rows, row(person, reference="wo-1"), row(person, reference="WO-3")).json()
    why = "This work was withdrawn on 26 Nov 2026. Have it recorded by hand if it was done."
    assert answer == {
        "recorded": 1,
        "already": 1,
        "problems": [{"row": 1, "detail": why}, {"row": 3, "detail": why}],
    }
    assert person.practice.not_withdrawn().count() == 2

    facts.record_practice_once(
        person=person,
        scope_code="TERM-OP",
        performed_on=TODAY,
        reference="WO-1",
        actor=quality,
        at=NOW,
    )
    assert hand_over(*rows).json() == {"recorded": 0, "already": 2, "problems": []}
    withdraw(2)
    [problem] = hand_over(*rows).json()["problems"]
    assert "27 Nov 2026" in problem["detail"]


def test_rows_that_cannot_be_recorded_are_named_and_leave_nothing(hand_over):
    person, there = make_person(), make_person(make_site("Other", "OT"))
    left = make_person(left_on=TODAY - timedelta(days=1))
    nobody = "There is nobody of this number whose work is recorded here, or no such scope."
    answer = hand_over(
        row(person),
        row(there),
        row("nobody"),
        row(person, scope="NONE"),
        row(person, worked_on="2099-01-01"),
        row(left),
    ).json()
    assert answer["recorded"] == 1
    assert [problem["row"] for problem in answer["problems"]] == [2, 3, 4, 5, 6]
    assert [problem["detail"] for problem in answer["problems"]][:3] == [nobody] * 3
    assert PracticeRecord.objects.count() == 1


def test_what_no_database_keeps_is_refused_whole(hand_over):
    person = make_person()
    for wrong in ("\0", "x" * 5000, ""):
        answer = hand_over(row(person), row(person, reference=wrong))
        assert (answer.status_code, PracticeRecord.objects.count()) == (422, 0)


def test_a_former_number_finds_them(hand_over, administrator):
    person = make_person()
    before = person.employee_number
    change_person(person=person, actor=administrator, at=NOW, employee_number="77001")
    assert hand_over(row(before)).json()["recorded"] == 1


def test_a_token_for_other_things_records_nothing(hand_over, administrator):
    _made, reads = api_tokens.make_token(
        site=make_site(), name="HR", actor=administrator, at=NOW, may_bring_people=True
    )
    assert hand_over(row(make_person()), said=reads).status_code == 403
    SiteRole.objects.filter(user=administrator).delete()
    assert hand_over(row(make_person())).status_code == 403
    assert not PracticeRecord.objects.exists()
