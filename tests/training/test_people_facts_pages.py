"""Vision tests, practice and stamps are written down on a person's pages by those who may."""

import pytest
from django.urls import reverse
from django.utils import timezone

from people.models import Person, Stamp
from tests.factories import PASSWORD, make_person, make_site, make_user
from tests.signing import send_as_shown, shown_on
from training import ports
from training.models import (
    PracticeRecord,
    PracticeWithdrawal,
    VisionTest,
    VisionTestWithdrawal,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def register(monkeypatch):
    """A register that listens and knows one scope, in place of the one above this app."""
    monkeypatch.setattr(ports, "_listeners", [])
    ports.on_facts_changed(lambda person, scope_code: None)
    monkeypatch.setattr(ports, "_scopes", lambda: [("TERM-OP", "Terminals, operator")])


@pytest.fixture
def tamsin():
    return make_person(employee_number="10482", full_name="Tamsin Okoro")


def url(name, *more):
    app = "people" if name in ("person_detail", "stamp_issue", "stamp_return") else "training"
    return reverse(f"{app}:{name}", args=["10482", *more])


def as_role(client, *roles, **fields):
    user = make_user(*roles, password=PASSWORD, **fields)
    client.force_login(user)
    return user


VISION = {"tested_on": "2026-01-20", "passed": "yes", "with_lenses": "", "examiner": "O. Lind"}
PRACTICE = {"scope_code": "TERM-OP", "performed_on": "2026-01-20", "reference": "WO-1"}
STAMP = {"mark": "S47", "issued_on": "2026-01-20"}


@pytest.mark.parametrize("role", ["instructor", "quality"])
def test_a_vision_test_is_recorded_and_withdrawn(client, tamsin, role):
    user = as_role(client, role)

    answer = client.post(url("vision_test_new"), VISION)

    assert answer.url == url("person_detail")
    test = VisionTest.objects.get()
    assert (test.person, test.passed, test.with_lenses) == (tamsin, True, None)
    assert test.recorded_by == user

    withdraw = url("vision_test_withdraw", test.test_id)
    assert "counts as never entered" in client.get(withdraw).content.decode()
    send_as_shown(client, withdraw, {"reason": "Somebody else's.", "password": PASSWORD})
    assert not VisionTest.objects.not_withdrawn().exists()
    signature = VisionTestWithdrawal.objects.get(vision_test=test).signature
    assert (signature.signer, signature.proof) == (user, "password")
    assert "Somebody else's." in signature.content
    assert client.get(withdraw).status_code == 404


@pytest.mark.parametrize("role", ["instructor", "quality"])
def test_practice_is_recorded_and_withdrawn(client, tamsin, role):
    user = as_role(client, role)

    client.post(url("practice_new"), PRACTICE)

    practice = PracticeRecord.objects.get()
    assert (practice.person, practice.scope_code) == (tamsin, "TERM-OP")
    assert practice.confirmed_by == user
    withdraw = url("practice_withdraw", practice.pk)
    send_as_shown(client, withdraw, {"reason": "Not theirs.", "password": PASSWORD})
    assert not PracticeRecord.objects.not_withdrawn().exists()
    assert PracticeWithdrawal.objects.get(practice=practice).signature.signer == user


@pytest.mark.parametrize("role", ["quality", "administrator"])
def test_a_stamp_is_issued_and_taken_back(client, tamsin, role):
    as_role(client, role)

    client.post(url("stamp_issue"), STAMP)

    stamp = Stamp.objects.get()
    assert (stamp.person, stamp.returned_on) == (tamsin, None)
    client.post(url("stamp_return", stamp.pk), {"returned_on": "2026-02-01"})
    stamp.refresh_from_db()
    assert stamp.returned_on.isoformat() == "2026-02-01"
    assert client.get(url("stamp_return", stamp.pk)).status_code == 404


@pytest.mark.parametrize(
    ("name", "fields", "message"),
    [
        ("vision_test_new", {**VISION, "tested_on": "31 Nov"}, "Enter a valid date"),
        ("vision_test_new", {**VISION, "tested_on": "2999-01-01"}, "still to come"),
        ("vision_test_new", {**VISION, "passed": ""}, "This field is required"),
        ("vision_test_new", {**VISION, "examiner": ""}, "This field is required"),
        ("practice_new", {**PRACTICE, "scope_code": "NO-SUCH"}, "Select a valid choice"),
        ("practice_new", {**PRACTICE, "performed_on": "2999-01-01"}, "still to come"),
        ("stamp_issue", {**STAMP, "mark": ""}, "This field is required"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_written(client, tamsin, name, fields, message):
    as_role(client, "quality")

    answer = client.post(url(name), fields)

    assert answer.status_code == 422
    assert message in answer.content.decode()
    written = (VisionTest, PracticeRecord, Stamp)
    assert not any(model.objects.exists() for model in written)


def test_a_stamp_that_somebody_holds_is_not_issued(client, tamsin):
    as_role(client, "quality")
    holder = make_person(full_name="Wren Abbott")
    Stamp.objects.create(person=holder, mark="S47", issued_on=timezone.localdate())

    assert "Wren Abbott has held stamp S47" in (
        client.post(url("stamp_issue"), STAMP).content.decode()
    )


def test_a_withdrawal_says_why(client, tamsin):
    as_role(client, "quality")
    test = VisionTest.objects.create(
        test_id="CA-V-1", person=tamsin, tested_on=timezone.localdate(), passed=True
    )

    sent = {"reason": " ", "password": PASSWORD}
    page = url("vision_test_withdraw", "CA-V-1")
    assert send_as_shown(client, page, sent).status_code == 422
    assert VisionTest.objects.not_withdrawn().get() == test


def test_a_withdrawal_is_signed_with_ones_own_password(client, tamsin):
    as_role(client, "quality")
    test = VisionTest.objects.create(
        test_id="CA-V-1", person=tamsin, tested_on=timezone.localdate(), passed=True
    )
    practice = PracticeRecord.objects.create(
        person=tamsin, scope_code="TERM-OP", performed_on=timezone.localdate()
    )

    for address in (
        url("vision_test_withdraw", test.test_id),
        url("practice_withdraw", practice.pk),
    ):
        sent = {"reason": "Not theirs.", "password": "not mine"}
        answer = send_as_shown(client, address, sent)
        assert answer.status_code == 422
        assert "nothing was signed" in answer.content.decode()

    assert VisionTest.objects.not_withdrawn().exists()
    assert PracticeRecord.objects.not_withdrawn().exists()


WRITES = [("vision_test_new",), ("practice_new",), ("stamp_issue",)]


@pytest.mark.parametrize(
    ("role", "opens"),
    [
        ("instructor", {"vision_test_new", "practice_new"}),
        ("quality", {"vision_test_new", "practice_new", "stamp_issue"}),
        ("administrator", {"stamp_issue"}),
        ("line_lead", set()),
        (None, set()),
    ],
)
def test_forms_open_to_roles_and_are_unknown_to_others(client, tamsin, role, opens):
    user = as_role(client, *([role] if role else []))
    if role == "line_lead":
        tamsin.line_lead = user.person
        tamsin.save()

    answered = {name: client.get(url(name)).status_code for (name,) in WRITES}

    assert answered == {name: 200 if name in opens else 404 for (name,) in WRITES}


def test_nobody_writes_about_themselves_or_at_another_site(client, tamsin):
    own = make_user("instructor", "quality", person=tamsin)
    client.force_login(own)
    assert client.get(url("vision_test_new")).status_code == 404
    assert client.get(url("practice_new")).status_code == 404

    as_role(client, "quality", site=make_site("Aldergate", "AL", time_zone="Europe/London"))
    assert {client.get(url(name)).status_code for (name,) in WRITES} == {404}


def test_a_fact_of_somebody_else_is_not_withdrawn_under_a_wrong_name(client, tamsin):
    as_role(client, "quality")
    other = VisionTest.objects.create(
        test_id="CA-V-9", person=make_person(), tested_on=timezone.localdate(), passed=True
    )

    answer = client.post(
        url("vision_test_withdraw", other.test_id), {"reason": "Wrong.", "password": PASSWORD}
    )

    assert answer.status_code == 404
    assert VisionTest.objects.not_withdrawn().exists()


@pytest.mark.parametrize("name", ["vision_test_withdraw", "practice_withdraw"])
def test_what_is_withdrawn_is_shown_and_signed_as_it_was_shown(client, tamsin, name):
    as_role(client, "quality")
    test = VisionTest.objects.create(
        test_id="CA-V-1", person=tamsin, tested_on=timezone.localdate(), passed=True
    )
    practice = PracticeRecord.objects.create(
        person=tamsin, scope_code="TERM-OP", performed_on=timezone.localdate()
    )
    page = url(name, test.test_id if name == "vision_test_withdraw" else practice.pk)
    sent = {"reason": "Not theirs.", "password": PASSWORD}
    shown = shown_on(client.get(page))
    was = tamsin.full_name
    Person.objects.filter(pk=tamsin.pk).update(full_name="Tamsin Halloran")

    refused = client.post(page, shown | sent)

    assert refused.status_code == 422
    said = refused.content.decode()
    assert "What you were shown has changed since, so nothing was signed." in said
    assert f"<del>{was}</del>" in said
    assert "Not theirs." in said
    unsaid = client.post(page, sent)
    assert "This page came without what it showed" in unsaid.content.decode()
    assert VisionTest.objects.not_withdrawn().exists()
    assert PracticeRecord.objects.not_withdrawn().exists()
    assert client.post(page, shown_on(refused) | sent).status_code == 302
    withdrawn = VisionTestWithdrawal if name == "vision_test_withdraw" else PracticeWithdrawal
    assert withdrawn.objects.count() == 1


@pytest.mark.parametrize(
    ("name", "said", "model", "otherwise"),
    [
        ("vision_test_new", VISION, VisionTest, {"passed": "no"}),
        ("practice_new", PRACTICE, PracticeRecord, {"reference": "WO-2"}),
    ],
)
def test_form_sent_twice_records_once_and_says_so(client, tamsin, name, said, model, otherwise):
    as_role(client, "instructor")

    client.post(url(name), said)
    answer = client.post(url(name), said, follow=True)

    assert answer.redirect_chain == [(url("person_detail"), 302)]
    assert "was recorded so already, and is not recorded twice." in answer.content.decode()
    assert model.objects.count() == 1
    client.post(url(name), said | otherwise)
    client.post(url(name), said)
    # Tested once more that day, with another result in between, the last one counts; the same
    # work stays the same work.
    assert model.objects.count() == (3 if model is VisionTest else 2)
