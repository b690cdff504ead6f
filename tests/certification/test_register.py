"""The register: who may do what today, filtered, in order, page by page, and as a file."""

import csv
import io
import re
from datetime import timedelta

import pytest
from django.urls import reverse
from openpyxl import load_workbook

from assessments.models import BoardOutcome, Grading, ReadingRequest
from certification.models import CertificateEvent
from certification.services import standing
from people.models import FormerEmployeeNumber
from tests import factories
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

pytestmark = [pytest.mark.django_db, pytest.mark.each_database]

REGISTER = "/register/"


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def terminals():
    return make_scope(code="TERM", title="Terminals, operator")


@pytest.fixture
def revision(terminals):
    return make_revision(terminals, validity_months=24)


@pytest.fixture
def quality(client):
    """Signed in, and themselves in nobody's list of operators."""
    user = make_user("quality", person=make_person(full_name="Zz Quality", employee_number="Q1"))
    client.force_login(user)
    return user


@pytest.fixture
def certify(today, terminals, revision):
    """Certify somebody by name, issued some days ago."""

    def certify(name, ago=100, scope=None, using=None, **fields):
        scope = scope or terminals
        using = using or (revision if scope == terminals else make_revision(scope))
        person = fields.pop("person", None) or make_person(full_name=name)
        return make_certificate(
            person, scope, revision=using, issued_on=today - timedelta(days=ago), **fields
        )

    return certify


def suspend(certificate, on, kind="suspended"):
    CertificateEvent.objects.create(
        event_id=f"E-{certificate.pk}-{kind}",
        certificate=certificate,
        kind=kind,
        effective_on=on,
        recorded_at=NOW,
    )
    standing.rebuild_spans(certificate.person, certificate.scope)


def people_on(response):
    return [person.full_name for person, _lines in response.context["groups"]]


def names(client, **query):
    """The people shown, quality itself left out."""
    found = people_on(client.get(REGISTER, query))
    return [name for name in found if name != "Zz Quality"]


def counts(response):
    return {str(one.word): one.number for one in response.context["counted"]}


def lines_of(response, name):
    return next(lines for person, lines in response.context["groups"] if person.full_name == name)


def test_everybody_is_there_with_their_scopes_and_those_without_one(client, quality, certify):
    certificate = certify("Amaranta Kowal", restriction="wire of AWG 20 and smaller")
    make_person(full_name="Zenobia Falk")

    response = client.get(REGISTER)

    assert names(client) == ["Amaranta Kowal", "Zenobia Falk"]
    (line,) = lines_of(response, "Amaranta Kowal")
    assert (line.standing, line.certificate) == ("certified", certificate)
    assert line.through == certificate.valid_through
    (without,) = lines_of(response, "Zenobia Falk")
    assert (without.standing, without.scope) == ("never_certified", None)
    page = response.content.decode()
    assert "only: wire of AWG 20 and smaller" in page
    assert "no scope yet" in page
    assert reverse("certification:certificate_detail", args=[certificate.number]) in page


def test_what_ends_first_is_said_with_its_day(client, quality, certify, today):
    ends = today + timedelta(days=12)
    # Two years earlier, so that the last day is the one wanted in any calendar.
    issued = ends.replace(year=ends.year - 2, day=min(ends.day, 28))
    certificate = certify("Ilka Norrgard", ago=(today - issued).days)

    (line,) = lines_of(client.get(REGISTER), "Ilka Norrgard")

    assert line.ends_soon
    assert line.next_end.last_day == certificate.valid_through
    assert line.next_word == "certificate"


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        pytest.param({"q": "kow"}, ["Amaranta Kowal"], id="part of a name"),
        pytest.param({"q": "kowal amar"}, ["Amaranta Kowal"], id="words in any order"),
        pytest.param({"q": "777"}, ["Amaranta Kowal"], id="start of a number"),
        pytest.param({"q": "OLD-7"}, ["Amaranta Kowal"], id="a number they had before"),
        pytest.param({"q": "nobody"}, [], id="nobody"),
        pytest.param({"scope": "TERM"}, ["Amaranta Kowal", "Bruno Pell"], id="scope"),
        pytest.param({"standing": "certified"}, ["Amaranta Kowal", "Cup Maker"], id="certified"),
        pytest.param({"standing": "suspended"}, ["Bruno Pell"], id="suspended"),
        pytest.param({"standing": "never_certified"}, ["Zenobia Falk"], id="never"),
        pytest.param({"standing": "revoked"}, [], id="none stands so"),
        pytest.param(
            {"standing": "never_certified", "scope": "TERM"},
            ["Cup Maker", "Zenobia Falk"],
            id="never for a scope",
        ),
        pytest.param({"lead": "L1"}, ["Bruno Pell"], id="line lead"),
        pytest.param(
            {"scope": "no such", "standing": "odd", "site": "??", "order": "up", "lead": "x"},
            ["Amaranta Kowal", "Bruno Pell", "Cup Maker", "Lead One", "Lead Two", "Zenobia Falk"],
            id="what makes no sense is left open",
        ),
    ],
)
def test_filters_narrow_the_view(client, quality, certify, today, query, expected):
    amaranta = make_person(full_name="Amaranta Kowal", employee_number="77701")
    FormerEmployeeNumber.objects.create(person=amaranta, employee_number="OLD-77", until_on=today)
    leads = [
        make_person(full_name=f"Lead {n}", employee_number=number)
        for n, number in (("One", "L1"), ("Two", "L2"))
    ]
    bruno = make_person(full_name="Bruno Pell", line_lead=leads[0])
    make_person(full_name="Zenobia Falk", line_lead=leads[1])
    certify("", person=amaranta)
    suspend(certify("", person=bruno), today - timedelta(days=3))
    certify("Cup Maker", scope=make_scope(code="CUP", title="Solder cups, operator"))

    found = names(client, **query)

    if "q" not in query and query.get("standing") == "never_certified":
        found = [name for name in found if not name.startswith("Lead")]
    assert found == expected


def test_site_can_be_chosen_where_there_are_two(client, quality):
    assert "site" not in client.get(REGISTER).context["form"].fields

    other = make_site("Aldergate", "AL")
    make_person(other, full_name="Other Site")
    quality.roles.create(site=other, role="quality")

    assert names(client) == ["Other Site"]
    assert names(client, site="AL") == ["Other Site"]
    assert names(client, site="CA") == []


def test_people_elsewhere_are_not_there_at_all(client, quality):
    make_person(make_site("Aldergate", "AL"), full_name="Other Site")

    assert "Other Site" not in people_on(client.get(REGISTER))
    assert "Other Site" not in people_on(client.get(REGISTER, {"q": "Other"}))


def test_whoever_left_is_shown_only_when_asked_for(client, quality, certify, today):
    person = make_person(full_name="Wilhelmina Asante", left_on=today - timedelta(days=1))
    certify("", person=person)
    make_person(full_name="Last Day", left_on=today)

    assert names(client) == ["Last Day"]
    assert names(client, left="on") == ["Last Day", "Wilhelmina Asante"]


def test_order_by_name_by_number_and_by_what_ends_first(client, quality, certify):
    certify("Beta", ago=600, person=make_person(full_name="Beta", employee_number="3"))
    certify("Alpha", ago=100, person=make_person(full_name="Alpha", employee_number="2"))
    make_person(full_name="Gamma", employee_number="1")

    assert names(client) == ["Alpha", "Beta", "Gamma"]
    assert names(client, order="number") == ["Gamma", "Alpha", "Beta"]
    assert names(client, order="end") == ["Beta", "Alpha", "Gamma"]


def test_standings_are_counted_and_each_count_narrows_the_view(client, quality, certify, today):
    certify("Good")
    certify("Good too", scope=make_scope())
    certify("Ends", ago=700)
    certify("Over", ago=800)
    suspend(certify("Held"), today)
    suspend(certify("Gone"), today, kind="revoked")
    make_person(full_name="New")

    response = client.get(REGISTER)

    assert counts(response) == {
        "certified": 3,
        "of these, something ends within 90 days": 1,
        "expired": 1,
        "suspended": 1,
        "revoked": 1,
        "never certified": 2,
    }
    assert response.context["standings"] == 6
    for one in response.context["counted"]:
        narrowed = client.get(REGISTER + one.url)
        assert len(narrowed.context["groups"]) == one.number
        again = next(other for other in narrowed.context["counted"] if other.is_chosen)
        assert len(client.get(REGISTER + again.url).context["groups"]) == 8


def test_pages_keep_the_filters(client, quality):
    for n in range(60):
        make_person(full_name=f"Person {n:02d}")

    first = client.get(REGISTER, {"q": "Person"})
    second = client.get(REGISTER, {"q": "Person", "page": "2"})

    assert (len(people_on(first)), len(people_on(second))) == (50, 10)
    assert people_on(second)[0] == "Person 50"
    assert "People 51 to 60 of 60" in second.content.decode()
    assert "?q=Person&amp;page=2" in first.content.decode()
    assert len(people_on(client.get(REGISTER, {"page": "no page"}))) == 50


def test_nobody_to_show_says_what_to_do(client, quality):
    page = client.get(REGISTER, {"q": "nobody at all"}).content.decode()

    assert "Nobody matches" in page
    assert "Leave a filter open" in page
    assert "This view as CSV" not in page


# What waits to be regraded


@pytest.fixture
def asked_again():
    """A trainee who has asked for another reading of a board with a result."""
    board = factories.make_board(make_person(full_name="Signe Aldous"))
    BoardOutcome.objects.create(board=board, complete=True, passed=False, decided_at=NOW)
    return ReadingRequest.objects.create(
        board=board,
        asked_by=make_user(person=board.person),
        reason="E02 is wetted all round.",
        before={},
        recorded_at=NOW,
    )


def test_request_for_another_reading_waits_on_qualitys_first_page(client, quality, asked_again):
    page = client.get(REGISTER).text

    assert "A regrading is asked for" in page
    assert f'href="/boards/{asked_again.board.number}/"' in page
    assert "Signe Aldous" in page
    assert "A regrading is asked" not in client.get(REGISTER, {"day": "2026-01-05"}).text


def test_request_that_is_elsewhere_or_answered_does_not_wait_there(client, quality, asked_again):
    elsewhere = make_site(prefix="ZZ", name="Elsewhere")
    other = make_user("quality", person=make_person(elsewhere), site=elsewhere)
    client.force_login(other)
    assert "A regrading is asked" not in client.get(REGISTER).text
    client.force_login(quality)
    assert "A regrading is asked" in client.get(REGISTER).text

    grading = Grading.objects.create(
        board=asked_again.board,
        grader=make_user("instructor"),
        criteria_set=factories.make_criteria_set({"code": "S-1"}),
        recorded_at=NOW,
    )
    ReadingRequest.objects.update(grading=grading, answered_at=NOW)
    assert "A regrading is asked" not in client.get(REGISTER).text


@pytest.mark.parametrize("role", ["instructor", "line_lead"])
def test_request_for_another_reading_is_no_matter_of_others_registers(client, role, asked_again):
    client.force_login(make_user(role))

    assert "A regrading is asked" not in client.get(REGISTER).text


def queries_of_a_register_of(n, client, certify, django_assert_max_num_queries):
    for number in range(n):
        certify(f"Person {number}", scope=make_scope() if number % 3 == 0 else None)
    client.get(REGISTER)
    with django_assert_max_num_queries(17) as found:
        assert client.get(REGISTER).status_code == 200
    return len(found)


def test_three_people_and_sixty_take_the_same_few_queries(
    client, quality, certify, django_assert_max_num_queries
):
    few = queries_of_a_register_of(3, client, certify, django_assert_max_num_queries)
    many = queries_of_a_register_of(57, client, certify, django_assert_max_num_queries)

    assert few == many


# As files


def rows_of(response):
    return list(csv.DictReader(io.StringIO(body(response).decode("utf-8-sig"))))


def body(response):
    """Read to the end, which closes what the response holds open."""
    return b"".join(response.streaming_content)


def test_csv_holds_the_view_as_it_is_filtered(client, quality, certify, today):
    lead = make_person(full_name="Lead", employee_number="L9")
    person = make_person(full_name="Amaranta Kowal", employee_number="00771", line_lead=lead)
    certificate = certify("", person=person, restriction="cups alone")
    make_person(full_name="Someone else")

    response = client.get("/register/export.csv", {"q": "Kowal"})

    assert response["Content-Type"] == "text/csv; charset=utf-8"
    assert response["Content-Disposition"] == f'attachment; filename="register-{today}.csv"'
    assert rows_of(response) == [
        {
            "employee_number": "00771",
            "full_name": "Amaranta Kowal",
            "site": "Castelmar",
            "line_lead": "L9",
            "scope": "TERM",
            "scope_title": "Terminals, operator",
            "standing": "certified",
            "certificate_number": certificate.number,
            "through": certificate.valid_through.isoformat(),
            "ends_next_on": certificate.valid_through.isoformat(),
            "ends_next_by": "certificate",
            "restriction": "cups alone",
            "why": "Within the period it was issued for.",
            "changes_on": (certificate.valid_through + timedelta(days=1)).isoformat(),
            "as_of": today.isoformat(),
            "as_known_at": "",
        }
    ]


def test_csv_opens_in_a_spreadsheet_program_with_its_accents(client, quality):
    make_person(full_name="Ilse Çelik-Černá")

    raw = body(client.get("/register/export.csv"))

    assert raw.startswith(b"\xef\xbb\xbfemployee_number,")
    assert "Ilse Çelik-Černá" in raw.decode("utf-8-sig")
    assert raw.count(b"\r\n") == raw.count(b"\n") == 3


FORMULAS = ["=1+1", "+49 30", "-2+3", "@SUM(A1)", "\t=1", '=HYPERLINK("x")', "  =1+1"]


@pytest.mark.parametrize("text", FORMULAS)
def test_csv_cell_that_begins_like_a_formula_is_made_text(client, quality, certify, text):
    certify("Amaranta Kowal", restriction=text)

    (row,) = rows_of(client.get("/register/export.csv", {"q": "Kowal"}))

    assert row["restriction"] == f"'{text}"


@pytest.mark.parametrize("text", [*FORMULAS, "a\x0bb"])
def test_xlsx_cells_are_text_whatever_they_begin_with(client, quality, certify, text):
    certify("Amaranta Kowal", restriction=text)

    response = client.get("/register/export.xlsx", {"q": "Kowal"})
    sheet = load_workbook(io.BytesIO(body(response))).active

    cell = sheet.cell(row=2, column=12)
    assert cell.data_type == "s"
    assert cell.value.strip() == text.replace("\x0b", "").strip()


def test_xlsx_holds_the_same_rows_with_real_dates(client, quality, certify, today):
    certificate = certify("Amaranta Kowal")
    make_person(full_name="Zenobia Falk")

    response = client.get("/register/export.xlsx")
    sheet = load_workbook(io.BytesIO(body(response))).active
    rows = list(sheet.iter_rows(values_only=True))

    assert f"register-{today}.xlsx" in response["Content-Disposition"]
    assert rows[0][:2] == ("employee_number", "full_name")
    assert [row[1] for row in rows[1:]] == ["Amaranta Kowal", "Zenobia Falk", "Zz Quality"]
    assert rows[1][8].date() == certificate.valid_through
    assert rows[1][0] == certificate.person.employee_number
    assert rows[2][7] in (None, "")


def test_export_is_written_in_batches_and_few_queries(
    client, quality, certify, django_assert_max_num_queries
):
    for n in range(30):
        certify(f"Person {n}")
    client.get(REGISTER)  # The session is written with the first request of a minute.

    with django_assert_max_num_queries(10):
        assert len(rows_of(client.get("/register/export.csv"))) == 31


def test_vision_test_that_ran_out_is_said_to_quality(client, quality, today, terminals):
    using = make_revision(terminals, vision_months=12)
    person = make_person(full_name="Oluwaseun Hartley")
    VisionTest.objects.create(
        test_id="V-1", person=person, tested_on=today - timedelta(days=400), passed=True
    )
    make_certificate(person, terminals, revision=using, issued_on=today - timedelta(days=399))

    response = client.get(REGISTER)

    assert counts(response)["vision not current"] == 1
    page = response.content.decode()
    assert re.search(r"vision not current\s*<small>since", page)


# Refusals


@pytest.mark.parametrize("path", [REGISTER, "/register/export.csv", "/register/export.xlsx"])
def test_register_is_for_leads_instructors_and_quality(client, path):
    assert client.get(path).status_code == 302

    client.force_login(make_user())
    assert client.get(path).status_code == 403
    client.force_login(make_user("administrator"))
    assert client.get(path).status_code == 403

    client.force_login(make_user("line_lead"))
    response = client.get(path)
    assert response.status_code == 200
    assert body(response) if response.streaming else response.content
    assert client.post(path).status_code == 405
