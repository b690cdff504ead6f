"""The list for the wall: who of a line may do what today, and nothing about anybody else."""

import io
from datetime import timedelta

import pytest
from pypdf import PdfReader

from certification.models import CertificateEvent
from certification.services import standing
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

PAGE = "/wall-list/"


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def lead():
    return make_user("line_lead", person=make_person(full_name="Lia Lead"))


@pytest.fixture
def terminals():
    return make_scope(title="Terminals, operator")


def certify(scope, name, today, ago=10, **fields):
    person = fields.pop("person", None) or make_person(full_name=name, **fields)
    revision = make_revision(scope, validity_months=12)
    return make_certificate(person, scope, revision=revision, issued_on=today - timedelta(ago))


def named(response):
    return {
        work.scope.title: [one.person.full_name for one in work.entries]
        for work in response.context["works"]
    }


def test_line_lead_prints_own_line_alone(client, lead, terminals, today):
    certify(terminals, "Ann Mine", today, line_lead=lead.person)
    certify(terminals, "Ben Other", today)
    client.force_login(lead)

    response = client.get(PAGE)

    assert named(response) == {"Terminals, operator": ["Ann Mine"]}
    assert "Ben Other" not in response.content.decode()


def test_a_suspension_to_come_ends_what_the_list_says(client, lead, terminals, today):
    ann = certify(terminals, "Ann Mine", today, line_lead=lead.person)
    starts = today + timedelta(days=5)
    CertificateEvent.objects.create(
        event_id="CA-E-1",
        certificate=ann,
        kind=CertificateEvent.Kind.SUSPENDED,
        effective_on=starts,
        reason="So.",
        recorded_at=NOW,
    )
    standing.rebuild_person(ann.person)
    client.force_login(lead)

    (work,) = client.get(PAGE).context["works"]

    assert [one.until for one in work.entries] == [today + timedelta(days=4)]


def test_list_says_when_it_was_printed_and_for_how_long_it_is_good(
    client, lead, terminals, today, settings
):
    certify(terminals, "Ann Mine", today, line_lead=lead.person)
    client.force_login(lead)

    response = client.get(PAGE)

    page = response.content.decode().replace("\u00a0", " ")
    assert f"{today:%a} {today.day} {today:%b %Y}, " in page
    assert "Valid only on the day it was printed." in page
    assert f'href="{settings.PUBLIC_URL}/check/"' in page
    assert response.context["now"].tzinfo is not None


def test_only_who_may_today_is_named(client, lead, terminals, today):
    for name in ("Ann May", "Bea Suspended", "Cay Expired", "Dot Vision", "Eve Left"):
        fields = {"left_on": today - timedelta(1)} if name == "Eve Left" else {}
        ago = 900 if name == "Cay Expired" else 10
        certificate = certify(terminals, name, today, ago, line_lead=lead.person, **fields)
        if name == "Bea Suspended":
            CertificateEvent.objects.create(
                event_id="E-1", certificate=certificate, kind="suspended", effective_on=today,
                recorded_at=NOW,
            )  # fmt: skip
            standing.rebuild_spans(certificate.person, terminals)
    revision = make_revision(make_scope(title="Cups"), vision_months=12)
    dot = make_person(full_name="Dot Vision", line_lead=lead.person)
    make_certificate(dot, revision.scopes.get(), revision=revision, issued_on=today)
    client.force_login(lead)

    response = client.get(PAGE)

    assert named(response) == {"Terminals, operator": ["Ann May", "Dot Vision"]}
    assert "Cups" not in response.content.decode()


def test_until_is_the_first_day_that_anything_ends(client, lead, terminals, today):
    revision = make_revision(terminals, validity_months=24, vision_months=12)
    person = make_person(full_name="Ann Mine", line_lead=lead.person)
    VisionTest.objects.create(
        test_id="V-1", person=person, tested_on=today - timedelta(300), passed=True,
        recorded_at=NOW,
    )  # fmt: skip
    make_certificate(person, terminals, revision=revision, issued_on=today)
    client.force_login(lead)

    response = client.get(PAGE)

    [work] = response.context["works"]
    assert today < work.entries[0].until < today + timedelta(80)
    text = response.content.decode()
    assert "vision" not in text[text.index('class="page wall"') :].lower()


def test_restriction_is_on_the_wall(client, lead, terminals, today):
    make_certificate(
        make_person(line_lead=lead.person), terminals, issued_on=today,
        restriction="cups for AWG 20 and less",
    )  # fmt: skip
    client.force_login(lead)

    assert "only: cups for AWG 20 and less" in client.get(PAGE).content.decode()


@pytest.mark.parametrize("role", ["quality", "instructor"])
def test_whoever_teaches_or_audits_prints_any_line_of_the_site(
    client, lead, terminals, today, role
):
    certify(terminals, "Ann Mine", today, line_lead=lead.person)
    certify(terminals, "Ben Other", today, line_lead=make_person(full_name="Max Lead"))
    certify(terminals, "Cay There", today, site=make_site("Aldergate", "AL"))
    client.force_login(make_user(role))

    everybody = client.get(PAGE)
    line = client.get(f"{PAGE}?lead={lead.employee_number}")

    assert named(everybody) == {"Terminals, operator": ["Ann Mine", "Ben Other"]}
    assert named(line) == {"Terminals, operator": ["Ann Mine"]}
    assert named(client.get(f"{PAGE}?site=AL&lead=nobody")) == named(everybody)


@pytest.mark.parametrize("role", ["operator", "administrator"])
def test_list_is_closed_to_other_roles(client, role):
    client.force_login(make_user(role))

    assert client.get(PAGE).status_code == 403


def test_line_of_whom_nobody_may_says_so(client, lead):
    client.force_login(lead)

    assert "Nobody of this line may do such work today" in client.get(PAGE).content.decode()


def test_number_of_queries_does_not_grow_with_the_line(
    client, lead, terminals, today, django_assert_num_queries
):
    client.force_login(lead)
    certify(terminals, "Ann", today, line_lead=lead.person)
    client.get(PAGE)
    with django_assert_num_queries(6):
        client.get(PAGE)
    for number in range(8):
        certify(make_scope(), f"P {number}", today, line_lead=lead.person)
    with django_assert_num_queries(6):
        client.get(PAGE)


def test_operators_come_first(client, lead, terminals, today):
    for level in ("instructor", "inspector"):
        certify(make_scope(title=f"A, {level}", level=level), "Ann", today, line_lead=lead.person)
    certify(terminals, "Ben", today, line_lead=lead.person)
    client.force_login(lead)

    assert list(named(client.get(PAGE))) == ["Terminals, operator", "A, inspector", "A, instructor"]


def sizes_of(pdf, words):
    """Of a list as it is printed: its pages, and the sizes in points at which words stand."""
    pages, sizes = PdfReader(io.BytesIO(pdf)).pages, []

    def look(text, _user_matrix, text_matrix, _font, size):
        if words in text:
            sizes.append(round(size * abs(text_matrix[3] or text_matrix[1]), 1))

    for page in pages:
        page.extract_text(visitor_text=look)
    return len(pages), sizes


@pytest.mark.parametrize(
    ("people", "pages", "largest", "smallest"),
    [
        pytest.param(3, 1, 26, 20, id="a few, as large as the page holds"),
        pytest.param(26, 1, 24, 16, id="more, still on one page"),
        pytest.param(70, 3, 16, 16, id="many, in large print on more pages"),
    ],
)
def test_list_fits_its_paper_in_large_print(
    client, lead, terminals, today, people, pages, largest, smallest
):
    for number in range(people):
        certify(terminals, f"Ann Wall {number}", today, line_lead=lead.person)
    client.force_login(lead)

    printed, sizes = sizes_of(client.get("/wall-list.pdf").content, "Wall")

    assert printed <= pages
    assert (printed == 1) == (pages == 1)
    assert sizes
    assert largest >= max(sizes) >= min(sizes) >= smallest
