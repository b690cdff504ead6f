"""People are listed, found, looked at and entered by those who may."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from people.models import Person, Stamp
from people.services import people as services
from tests.factories import make_person, make_session, make_site, make_user
from training.models import (
    Attendance,
    PracticeRecord,
    PracticeWithdrawal,
    VisionTest,
    VisionTestWithdrawal,
)

pytestmark = pytest.mark.django_db

LIST = reverse("people:person_list")
NEW = reverse("people:person_new")


def page_of(person):
    return reverse("people:person_detail", args=[person.employee_number])


def signed_in(client, *roles, **fields):
    user = make_user(*roles, **fields)
    client.force_login(user)
    return user


@pytest.fixture
def tamsin():
    return make_person(employee_number="10482", full_name="Tamsin Okoro")


@pytest.mark.parametrize("url", [LIST, NEW], ids=["list", "new"])
def test_whoever_is_not_signed_in_is_asked_to(client, url):
    assert client.get(url).url == f"{reverse('account_login')}?next={url}"


@pytest.mark.parametrize(
    ("role", "listed", "enrols"),
    [
        ("instructor", 200, 200),
        ("quality", 200, 403),
        ("administrator", 200, 200),
        ("line_lead", 200, 403),
        (None, 403, 403),
    ],
)
def test_lists_and_enrolling_are_for_roles(client, role, listed, enrols):
    signed_in(client, *([role] if role else []))

    assert client.get(LIST).status_code == listed
    assert client.get(NEW).status_code == enrols


def test_a_line_lead_finds_their_own_people(client, tamsin):
    lead = signed_in(client, "line_lead")
    make_person(full_name="Wren Abbott", line_lead=lead.person)

    page = client.get(LIST).content.decode()

    assert "Wren Abbott" in page
    assert "Tamsin Okoro" not in page


def test_people_of_another_site_are_not_listed(client, tamsin):
    signed_in(client, "instructor", site=make_site("Aldergate", "AL", time_zone="Europe/London"))

    assert "Tamsin Okoro" not in client.get(LIST, {"q": "Tamsin"}).content.decode()
    assert client.get(page_of(tamsin)).status_code == 404
    assert client.get(page_of(Person(employee_number="no-one"))).status_code == 404


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ({"q": "okoro"}, {"Tamsin"}),
        ({"q": "brael wren"}, {"Wren"}),
        ({"q": "old-7"}, {"Tamsin"}),
        ({"kind": "contractor"}, {"Wren"}),
        ({"state": "left"}, {"Joss"}),
        ({"state": "all"}, {"Tamsin", "Wren", "Joss"}),
        ({"kind": "nothing known"}, {"Tamsin", "Wren"}),
        ({"q": "nobody at all"}, set()),
    ],
    ids=["name", "employer", "former number", "kind", "left", "all", "unknown", "nobody"],
)
def test_people_are_found(client, tamsin, query, names):
    signed_in(client, "quality")
    tamsin.former_numbers.create(employee_number="OLD-7", until_on=timezone.localdate())
    make_person(full_name="Wren Abbott", kind="contractor", employer="Brael Staffing")
    make_person(full_name="Joss Ferreira", left_on=timezone.localdate() - timedelta(days=9))

    page = client.get(LIST, query).content.decode()

    assert {name for name in ("Tamsin", "Wren", "Joss") if name in page} == names
    assert ("Nobody matches" in page) == (not names)


def test_the_list_takes_the_same_queries_for_many(client, django_assert_num_queries):
    signed_in(client, "quality")
    for _number in range(12):
        make_person(line_lead=make_person())

    with django_assert_num_queries(10):
        client.get(LIST)


def test_a_former_number_leads_to_the_page(client, tamsin):
    user = signed_in(client, "instructor")
    services.change_person(person=tamsin, employee_number="20001", actor=user, at=timezone.now())

    answer = client.get(reverse("people:person_detail", args=["10482"]))

    assert answer.url == reverse("people:person_detail", args=["20001"])
    page = client.get(answer.url).content.decode()
    assert "Number until" in page
    assert "10482" in page


@pytest.fixture
def with_facts(tamsin):
    """Somebody about whom everything is written down."""
    today = timezone.localdate()
    VisionTest.objects.create(
        test_id="CA-V-1", person=tamsin, tested_on=today, passed=True, examiner="O. Lind"
    )
    wrong = VisionTest.objects.create(
        test_id="CA-V-2", person=tamsin, tested_on=today, passed=False
    )
    VisionTestWithdrawal.objects.create(vision_test=wrong, reason="Somebody else's.")
    PracticeRecord.objects.create(
        person=tamsin, scope_code="TERM-OP", performed_on=today, reference="WO-7210"
    )
    work = PracticeRecord.objects.create(
        person=tamsin, scope_code="CUP-OP", performed_on=today, reference="WO-9999"
    )
    PracticeWithdrawal.objects.create(practice=work, reason="Not theirs.")
    Stamp.objects.create(person=tamsin, mark="S47", issued_on=today)
    session = make_session(people=(tamsin,))
    Attendance.objects.create(
        enrolment=session.enrolments.get(), day=session.starts_on, present=True
    )
    return tamsin


FACTS = ("CA-V-1", "WO-7210", "S47", "There on 1 of 1 day")


@pytest.mark.parametrize("role", ["instructor", "quality"])
def test_instructors_and_quality_read_what_is_written_down(client, with_facts, role):
    signed_in(client, role)

    page = client.get(page_of(with_facts)).content.decode()

    assert all(fact in page for fact in FACTS)
    assert page.count("withdrawn") == 2
    assert reverse("training:vision_test_new", args=["10482"]) in page


def test_a_vision_test_shows_result_and_day_alone(client, with_facts):
    signed_in(client, "quality")

    assert "O. Lind" not in client.get(page_of(with_facts)).content.decode()


def test_one_reads_ones_own_page_and_changes_nothing(client, with_facts):
    client.force_login(make_user(person=with_facts))

    page = client.get(page_of(with_facts)).content.decode()

    assert all(fact in page for fact in FACTS)
    for name in (
        "people:person_edit",
        "training:vision_test_new",
        "training:practice_new",
        "people:stamp_issue",
    ):
        assert reverse(name, args=["10482"]) not in page


def test_a_line_lead_sees_who_somebody_is_and_nothing_written_down(client, with_facts):
    lead = signed_in(client, "line_lead")
    Person.objects.filter(pk=with_facts.pk).update(line_lead=lead.person)

    page = client.get(page_of(with_facts)).content.decode()

    assert not any(fact in page for fact in FACTS)
    assert 'id="h-standing"' in page


def test_an_administrator_sees_stamps_and_sign_in_and_no_results(client, with_facts):
    signed_in(client, "administrator")

    page = client.get(page_of(with_facts)).content.decode()

    assert [fact for fact in FACTS if fact in page] == ["S47"]
    assert 'id="h-standing"' not in page
    assert reverse("people:person_sign_in", args=["10482"]) in page


def typed(**fields):
    return {
        "employee_number": "10999",
        "full_name": "Wren Abbott",
        "kind": "own",
        "language": "en",
        "site": make_site().pk,
        **fields,
    }


def test_an_instructor_enrols_somebody(client, tamsin):
    signed_in(client, "instructor")

    answer = client.post(NEW, typed(line_lead="tamsin", started_on="2026-09-01"))

    person = Person.objects.get(employee_number="10999")
    assert answer.url == page_of(person)
    assert person.line_lead == tamsin


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"employee_number": "10482"}, "Tamsin Okoro’s"),
        ({"employee_number": "1/2"}, "Use letters, digits"),
        ({"employee_number": "new"}, "cannot be a number"),
        ({"full_name": ""}, "This field is required"),
        ({"kind": "contractor"}, "employed by"),
        ({"line_lead": "Nobody Known"}, "number or name Nobody Known"),
        ({"line_lead": "o"}, "Several people are meant"),
        ({"left_on": "2020-01-01", "started_on": "2021-01-01"}, "comes before the first"),
        ({"site": "0"}, "Select a valid choice"),
    ],
    ids=lambda value: next(iter(value)) if isinstance(value, dict) else "",
)
def test_what_cannot_be_is_said_and_nobody_is_enrolled(client, tamsin, fields, message):
    signed_in(client, "instructor")
    make_person(full_name="Noor Castellan")
    before = Person.objects.count()

    answer = client.post(NEW, typed(**fields))

    assert answer.status_code == 422
    assert message in answer.content.decode()
    assert Person.objects.count() == before


def test_an_instructor_changes_somebody(client, tamsin):
    signed_in(client, "instructor")
    edit = reverse("people:person_edit", args=["10482"])
    assert 'value="Tamsin Okoro"' in client.get(edit).content.decode()

    answer = client.post(edit, typed(employee_number="20001", full_name="Tamsin Vale"))

    tamsin.refresh_from_db()
    assert answer.url == page_of(tamsin)
    assert (tamsin.employee_number, tamsin.full_name) == ("20001", "Tamsin Vale")


def test_a_refused_change_changes_nothing(client, tamsin):
    signed_in(client, "instructor")
    make_person(employee_number="20001")

    answer = client.post(
        reverse("people:person_edit", args=["10482"]), typed(employee_number="20001")
    )

    assert answer.status_code == 422
    tamsin.refresh_from_db()
    assert (tamsin.employee_number, tamsin.full_name) == ("10482", "Tamsin Okoro")


@pytest.mark.parametrize("role", ["quality", "line_lead", None])
def test_changing_somebody_is_not_for_everyone(client, tamsin, role):
    signed_in(client, *([role] if role else []))

    assert client.get(reverse("people:person_edit", args=["10482"])).status_code == 404


def test_an_instructor_does_not_change_themselves(client):
    user = signed_in(client, "instructor")

    own = reverse("people:person_edit", args=[user.employee_number])
    assert client.get(own).status_code == 404


def test_the_list_and_the_page_take_no_post(client, tamsin):
    signed_in(client, "instructor")

    assert client.post(LIST).status_code == 405
    assert client.post(page_of(tamsin)).status_code == 405
