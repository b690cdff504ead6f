"""Of whom no work was recorded for some months: the line lead's own, by scope, as printed."""

import io
from datetime import timedelta

import pytest
from pypdf import PdfReader

from certification.domain.months import add_months
from tests.factories import (
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from training.models import PracticeRecord, PracticeWithdrawal

pytestmark = pytest.mark.django_db

PAGE = "/work-missing/"


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def lead(client):
    user = make_user("line_lead", person=make_person(full_name="Lia Lead"))
    client.force_login(user)
    return user


@pytest.fixture
def holder(lead, today):
    scope = make_scope(code="TERM", title="Terminals, operator")
    revision = make_revision(scope, validity_months=24)

    def make(name, *worked_on, issued_on=None, **fields):
        person = make_person(full_name=name, **{"line_lead": lead.person, **fields})
        issued_on = issued_on or add_months(today, -12)
        make_certificate(person, scope, revision=revision, issued_on=issued_on)
        for day in worked_on:
            PracticeRecord.objects.create(person=person, scope_code="TERM", performed_on=day)
        return person

    return make


def listed(client, query=""):
    return [
        (entry.person.full_name, entry.worked_on)
        for missing in client.get(PAGE + query).context["scopes"]
        for entry in missing.entries
    ]


def test_whoever_has_work_recorded_within_the_months_is_left_out(client, holder, today):
    edge = add_months(today, -6)
    before = edge - timedelta(days=1)
    holder("On the edge", edge)
    holder("A day before", before, add_months(today, -9))
    holder("Never")
    holder("New", issued_on=edge)
    holder("Another’s", line_lead=None)
    withdrawn = holder("Withdrawn", today)
    PracticeWithdrawal.objects.create(practice=withdrawn.practice.get(), reason="Wrong.")
    assert listed(client) == [("A day before", before), ("Never", None), ("Withdrawn", None)]
    assert listed(client, "?months=8") == [("Never", None), ("Withdrawn", None)]


def test_it_is_printed_as_it_is_shown(client, holder, today):
    holder("Ada Byrne", add_months(today, -7))
    answer = client.get("/work-missing.pdf?months=6")
    assert answer["Content-Type"] == "application/pdf"
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages)
    for said in ("No work recorded in 6 months", "Terminals, operator", "Ada Byrne", "last work"):
        assert said in " ".join(text.split())


@pytest.mark.parametrize("asked", ["0", "61", "9" * 5000, "x"])
def test_months_that_make_no_sense_are_said_and_the_usual_ones_listed(client, holder, asked):
    holder("Never")
    answer = client.get(PAGE, {"months": asked})
    assert (answer.status_code, answer.context["months"]) == (422, 6)
