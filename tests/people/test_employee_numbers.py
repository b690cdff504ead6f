"""One rule for employee numbers, wherever one comes in."""

from datetime import UTC

import pytest
from django.db import IntegrityError, transaction

from assessments.forms.boards import NewBoardsForm
from audit.domain.cells import read_employee_number
from audit.services import importing
from people.domain.employee_numbers import meant_by, number_fault
from people.exceptions import PeopleError
from people.forms.people import PersonForm
from people.models import Person, Site, User
from people.services import people, sign_ins, tablets
from tests.audit.bundles import CERTIFICATES, PEOPLE, write_bundle
from tests.audit.test_bundle_frames import assert_same
from tests.factories import NOW, make_kiosk, make_person, make_site, make_user
from training.models import ClassSession

pytestmark = pytest.mark.django_db

NUMBERS = [
    *("10482", "C-7", "a.b_c-9", "O'Dell 7", "x" * 32),
    *(
        "x" * 33,
        "",
        "new",
        "New",
        "NEW",
        "C/7",
        "..",
        "-7",
        ".7",
        "_7",
        "Ä7",
        "7 ",
        "7\t8",
        "7\n",
        "7#",
    ),
]


@pytest.mark.parametrize("number", [number for number in NUMBERS if number])
def test_forms_services_and_imports_go_by_the_same_rule(number, tmp_path):
    fits = number_fault(number) is None
    form = PersonForm({"employee_number": number}, sites=Site.objects.all(), leads=Person.objects)
    # A form takes the spaces and line ends around what was typed away.
    assert ("employee_number" not in form.errors) is (number_fault(number.strip()) is None)
    site = make_site("North", "NO")
    actor = make_user("administrator", site=site)
    try:
        people.enrol_person(
            employee_number=number, full_name="Tamsin Okoro", site=site, actor=actor, at=NOW
        )
    except PeopleError:
        assert not fits
    else:
        assert fits
    try:
        read_employee_number(number, UTC)
    except ValueError:
        assert not fits
    else:
        assert fits


def test_bundles_read_by_column_go_by_it_too(tmp_path):
    rows = [[number, "Ines Okafor", "", "North", ""] for number in NUMBERS]
    rows += [[f"L{place}", "Ines Okafor", "", "North", lead] for place, lead in enumerate(NUMBERS)]
    folder = write_bundle(tmp_path / "bundle", people=[[*PEOPLE[0], "line_lead"], *rows])
    bundle = assert_same(folder)
    assert [row.employee_number for row in bundle.people][:4] == NUMBERS[:4]


@pytest.mark.parametrize(
    ("text", "numbers", "meant"),
    [
        ("cd9", ["CD9"], "CD9"),
        ("cd9", ["CD9", "cd9"], "cd9"),
        ("CD9", ["cd9", "CD9"], "CD9"),
        ("Cd9", ["cd9", "CD9"], None),
        ("cd9", ["cd99"], None),
        ("cd9", [], None),
    ],
)
def test_who_is_meant_is_one_person_or_nobody(text, numbers, meant):
    assert meant_by(text, [(number, number) for number in numbers]) == meant


@pytest.mark.parametrize("model", [Person, User])
def test_database_holds_no_two_that_differ_in_capitals_alone(model):
    fields = {"full_name": "A", "site": make_site(), "recorded_at": NOW} if model is Person else {}
    model.objects.create(employee_number="CD9", **fields)
    with pytest.raises(IntegrityError), transaction.atomic():
        model.objects.create(employee_number="cd9", **fields)


# Imports


def refused(path):
    with pytest.raises(importing.RegisterRefused) as caught:
        importing.import_register(path=path, zone=UTC, at=NOW, actor="test")
    return [
        (problem.file, problem.line, problem.column, problem.reason)
        for problem in caught.value.problems
    ]


def people_rows(*numbers):
    return [PEOPLE[0], *([number, "Ines Okafor", "", "North"] for number in numbers)]


def test_import_of_two_numbers_that_differ_in_capitals_alone_is_refused(tmp_path):
    make_site("North", "NO")
    path = write_bundle(tmp_path / "bundle", people=people_rows("P1", "P2", "CD9", "cd9"))

    [problem] = refused(path)

    assert problem[:3] == ("people.csv", 5, "employee_number")
    assert "CD9 stands in line 4" in problem[3]
    assert not Person.objects.filter(employee_number__iexact="cd9").exists()


def test_import_of_a_number_that_is_there_in_other_capitals_is_refused(tmp_path):
    site = make_site("North", "NO")
    make_person(site, employee_number="CD9")

    [problem] = refused(write_bundle(tmp_path / "bundle", people=people_rows("P1", "P2", "cd9")))

    assert problem[:3] == ("people.csv", 4, "employee_number")
    assert "CD9 is in the register" in problem[3]


def test_row_that_names_somebody_in_other_capitals_is_told_how_to_write_it(tmp_path):
    make_site("North", "NO")
    row = list(CERTIFICATES[1])
    row[1] = "p1"

    [problem] = refused(write_bundle(tmp_path / "bundle", certificates=[CERTIFICATES[0], row]))

    assert problem[:3] == ("certificates.csv", 2, "employee_number")
    assert "write it as P1" in problem[3]


def test_import_gives_no_former_number_kiosk_or_badge_as_a_number(tmp_path):
    site = make_site("North", "NO")
    actor = make_user("administrator", site=site)
    person = make_person(site, employee_number="OLD1")
    people.change_person(person=person, employee_number="NOW1", actor=actor, at=NOW)
    make_kiosk(site, "kiosk-1")
    tablets.set_pin(user=actor, pin="2580", badge="B77", proof="password", at=NOW)

    problems = refused(
        write_bundle(tmp_path / "bundle", people=people_rows("P1", "P2", "old1", "KIOSK-1", "b77"))
    )

    assert [problem[:3] for problem in problems] == [
        ("people.csv", line, "employee_number") for line in (4, 5, 6)
    ]


def test_own_number_in_new_capitals_can_be_imported_again(tmp_path):
    site = make_site("North", "NO")
    actor = make_user("administrator", site=site)
    person = make_person(site, employee_number="cd9", full_name="Ines Okafor", email="")
    people.change_person(person=person, employee_number="CD9", actor=actor, at=NOW)

    path = write_bundle(tmp_path / "bundle", people=people_rows("P1", "P2", "CD9"))
    importing.import_register(path=path, zone=UTC, at=NOW, actor="test")

    assert Person.objects.get(employee_number="CD9") == person


# Look-ups


def test_number_is_not_what_somebody_elses_badge_says():
    actor = make_user("instructor")
    tablets.set_pin(user=actor, pin="2580", badge="B77", proof="password", at=NOW)
    with pytest.raises(PeopleError, match="badge"):
        people.enrol_person(
            employee_number="b77", full_name="A", site=make_site("North", "NO"), actor=actor, at=NOW
        )


def test_board_goes_to_whoever_has_the_number_however_it_is_typed():
    person = make_person(employee_number="CD9")
    make_person(person.site, employee_number="CD90", full_name="cd9 Brandt")
    form = NewBoardsForm(
        {"person": "cd9"}, sessions=ClassSession.objects.none(), people=Person.objects.all()
    )
    form.is_valid()
    assert form.cleaned_data["person"] == person


def test_new_administrator_is_whoever_has_the_number_however_it_is_typed():
    person = make_person(employee_number="CD9")
    user = sign_ins.make_administrator(
        employee_number="cd9", full_name="A", password="a lamp", site=person.site, at=NOW
    )
    assert user.person == person
