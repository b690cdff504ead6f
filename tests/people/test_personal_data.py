"""What is kept about somebody, as a file: whole, described, and told of in the trail."""

import csv
import io
import json
import zipfile

import pytest
from django.urls import reverse

from people import ports
from people.models import Person
from people.presenters import own_sign_in
from people.presenters.personal_data import personal_data_zip
from people.services.personal_data import HANDED_OUT
from records.models import TrailEntry
from tests.factories import (
    NOW,
    PASSWORD,
    TODAY,
    make_board,
    make_certificate,
    make_person,
    make_user,
)
from training.services import facts

pytestmark = pytest.mark.django_db


@pytest.fixture
def user():
    person = make_person(full_name="=Ari Vance", email="ari@skarnfell.example")
    user = make_user(person=person, password=PASSWORD)
    make_certificate(person)
    make_board(person)
    facts.record_vision_test(
        person=person,
        tested_on=TODAY,
        passed=True,
        actor=make_user("quality"),
        at=NOW,
        examiner="R. Hale",
        method="Chart at 40 cm",
    )
    return user


def unpacked(response):
    return zipfile.ZipFile(io.BytesIO(b"".join(response.streaming_content)))


def url(person):
    return reverse("people:personal_data", args=[person.employee_number])


def test_one_has_ones_own_made_with_the_password(client, user):
    client.force_login(user)
    assert client.get(reverse("people:own_personal_data")).url == url(user.person)
    assert client.post(url(user.person), {"password": "wrong"}).status_code == 422
    assert not TrailEntry.objects.filter(act=HANDED_OUT).exists()

    archive = unpacked(client.post(url(user.person), {"password": PASSWORD}))

    data = json.loads(archive.read("data.json"))
    assert data["tables"]["person"]["rows"][0]["full_name"] == "=Ari Vance"
    assert len(data["tables"]["certificates"]["rows"]) == 1
    [test] = data["tables"]["vision_tests"]["rows"]
    assert test["passed"] is True
    assert "40 cm" not in archive.read("vision_tests.csv").decode()
    rows = list(csv.reader(io.StringIO(archive.read("person.csv").decode("utf-8-sig"))))
    assert rows[1][1] == "'=Ari Vance"
    assert TrailEntry.objects.filter(act=HANDED_OUT, actor=user).count() == 1


def test_each_column_of_each_file_is_described(user):
    with personal_data_zip(user.person, at=NOW, in_full=True) as file:
        archive = zipfile.ZipFile(io.BytesIO(file.read()))
    described = list(csv.reader(io.StringIO(archive.read("columns.csv").decode("utf-8-sig"))))[1:]
    for table in ports.personal_data(user.person):
        heading = archive.read(f"{table.name}.csv").decode("utf-8-sig").splitlines()[0]
        said = [(name, meaning) for file, name, meaning in described if file == f"{table.name}.csv"]
        assert ",".join(name for name, _meaning in said) == heading
        assert all(meaning for _name, meaning in said)
    names = [table.name for table in ports.personal_data(user.person)]
    assert len(names) == len(set(names))


def test_an_administrator_says_why_and_gets_no_results(client, user):
    administrator = make_user("administrator", password=PASSWORD)
    client.force_login(administrator)
    assert client.post(url(user.person), {"password": PASSWORD}).status_code == 422
    sent = {"password": PASSWORD, "reason": "Asked for on 24 Nov."}

    archive = unpacked(client.post(url(user.person), sent))

    assert "person.csv" in archive.namelist()
    assert not {"certificates.csv", "vision_tests.csv", "boards.csv"} & set(archive.namelist())
    assert set(json.loads(archive.read("data.json"))["tables"]) >= {"person", "trail"}
    assert "certificates: Certificates, as issued" in archive.read("README.txt").decode()
    entry = TrailEntry.objects.get(act=HANDED_OUT)
    assert json.loads(entry.payload.body)["reason"] == "Asked for on 24 Nov."
    said = [(line.words, line.details) for line in own_sign_in.lines(user)]
    assert any(
        words == "File of personal data made" and f"by {administrator}" in details
        for words, details in said
    )


def test_quality_gets_results_and_others_nothing(client, user):
    client.force_login(make_user("quality", password=PASSWORD))
    sent = {"password": PASSWORD, "reason": "Audit."}
    assert "certificates.csv" in unpacked(client.post(url(user.person), sent)).namelist()
    client.force_login(make_user("instructor", password=PASSWORD))
    assert client.post(url(user.person), sent).status_code == 404


def test_it_is_read_with_the_same_queries_however_much_there_is(
    user, django_assert_num_queries, django_assert_max_num_queries
):
    with django_assert_max_num_queries(100) as few:  # One a table, and what each brings along.
        personal_data_zip(user.person, at=NOW, in_full=True).close()
    for _number in range(5):
        make_board(user.person)
    with django_assert_num_queries(len(few)):
        personal_data_zip(user.person, at=NOW, in_full=True).close()


# Days of standing, worked out of what is given.
WORKED_OUT = {"StandingSpan", "KnownSpan"}


def test_every_table_with_rows_about_a_person_is_in_it():
    given = {table.rows.model for table in ports.personal_data(make_person())}
    about = {
        relation.related_model
        for relation in Person._meta.related_objects
        if relation.field.name == "person"
    }
    assert {model.__name__ for model in about - given} <= WORKED_OUT
