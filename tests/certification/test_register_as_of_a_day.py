"""The register of a day that is past or to come: who stood how, and what changes it."""

import csv
import io
from datetime import date, timedelta

import pytest

from certification.models import CertificateEvent, CertificateWithdrawal
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

pytestmark = [pytest.mark.django_db, pytest.mark.each_database]

REGISTER = "/register/"


@pytest.fixture
def quality(client):
    user = make_user("quality", person=make_person(full_name="Zz Quality", employee_number="Q1"))
    client.force_login(user)
    return user


@pytest.fixture
def terminals():
    return make_scope(code="TERM", title="Terminals, operator")


@pytest.fixture
def certificate(terminals):
    """Good from 10 January 2024 through 10 January 2026."""
    person = make_person(full_name="Amaranta Kowal", employee_number="771")
    return make_certificate(person, terminals, issued_on=date(2024, 1, 10))


def event(certificate, kind, on, **fields):
    made = CertificateEvent.objects.create(
        event_id=f"E-{kind}-{on}",
        certificate=certificate,
        kind=kind,
        effective_on=on,
        recorded_at=NOW,
        **fields,
    )
    standing.rebuild_spans(certificate.person, certificate.scope)
    return made


def line_on(client, day, name="Amaranta Kowal", **query):
    groups = client.get(REGISTER, {"day": day, **query}).context["groups"]
    [line] = next(lines for person, lines in groups if person.full_name == name)
    return line


def names(response):
    return [
        person.full_name
        for person, _lines in response.context["groups"]
        if person.full_name != "Zz Quality"
    ]


@pytest.mark.parametrize(
    ("day", "expected", "why", "changes_on"),
    [
        pytest.param(
            "2023-05-01",
            "never_certified",
            "No certificate had been issued.",
            None,
            id="before anything was issued",
        ),
        pytest.param(
            "2024-01-10",
            "certified",
            "Within the period it was issued for.",
            date(2025, 3, 1),
            id="first day",
        ),
        pytest.param(
            "2025-03-01",
            "suspended",
            "Suspended until somebody reinstates it.",
            date(2025, 4, 1),
            id="first day of a suspension",
        ),
        pytest.param(
            "2025-04-01",
            "certified",
            "Within the period it was issued for.",
            date(2026, 1, 11),
            id="reinstated",
        ),
        pytest.param(
            "2026-01-10",
            "certified",
            "Within the period it was issued for.",
            date(2026, 1, 11),
            id="last day",
        ),
        pytest.param("2026-01-11", "expired", "Certificate expired.", None, id="day after"),
        pytest.param("2090-01-01", "expired", "Certificate expired.", None, id="far to come"),
    ],
)
def test_line_says_standing_why_and_the_day_it_changes_by_itself(
    client, quality, certificate, day, expected, why, changes_on
):
    event(certificate, "suspended", date(2025, 3, 1))
    event(certificate, "reinstated", date(2025, 4, 1))

    line = line_on(client, day)

    assert (line.standing, line.why, line.changes_on) == (expected, why, changes_on)


EXTENDED = ("extended", date(2025, 12, 1), {"until": date(2026, 4, 1), "authority": "QM-02"})


@pytest.mark.parametrize(
    ("happened", "day", "standing", "through"),
    [
        ([EXTENDED], "2026-04-01", "certified", date(2026, 4, 1)),
        ([EXTENDED], "2026-04-02", "expired", date(2026, 4, 1)),
        ([("ended", date(2025, 6, 30), {})], "2025-07-01", "expired", date(2025, 6, 30)),
        (
            [EXTENDED, ("suspended", date(2026, 3, 1), {})],
            "2026-03-01",
            "suspended",
            date(2026, 4, 1),
        ),
        ([("revoked", date(2025, 6, 30), {})], "2025-06-30", "revoked", date(2025, 6, 29)),
        ([("revoked", date(2024, 1, 10), {})], "2025-06-30", "revoked", None),
        ([], "2026-01-11", "expired", date(2026, 1, 10)),
    ],
    ids=[
        "extended",
        "extension over",
        "ended",
        "suspended in its extension",
        "revoked",
        "revoked from the first day on",
        "period over",
    ],
)
def test_good_through_is_the_last_day_after_everything_that_happened(
    client, quality, certificate, happened, day, standing, through
):
    for kind, on, fields in happened:
        event(certificate, kind, on, **fields)

    line = line_on(client, day)

    assert (line.standing, line.through) == (standing, through)


def test_page_and_files_of_an_extension_that_is_over_say_its_last_day(client, quality, certificate):
    kind, on, fields = EXTENDED
    event(certificate, kind, on, **fields)

    [row] = csv.DictReader(
        io.StringIO(
            client.get("/register/export.csv", {"day": "2026-05-01", "q": "771"})
            .getvalue()
            .decode("utf-8-sig")
        )
    )
    of_person = client.get("/people/771/standing/").content.decode().replace("\u00a0", " ")
    paper = client.get(f"/certificates/{certificate.number}/").content.decode()

    assert (row["standing"], row["through"]) == ("expired", "2026-04-01")
    assert "1 Apr 2026" in of_person
    assert "10 Jan 2026" not in of_person
    assert "1 Apr 2026" in paper.replace("\u00a0", " ")


def test_reason_is_on_the_page_of_whoever_is_not_certified(client, quality, certificate):
    page = client.get(REGISTER, {"day": "2026-02-01"}).content.decode()

    assert "Certificate expired." in page
    assert "Sun 1 Feb 2026".replace(" ", "\u00a0") in page


def test_what_was_removed_or_withdrawn_changes_the_past_view_and_not_the_record(
    client, quality, certificate
):
    entered = event(certificate, "suspended", date(2025, 3, 1))
    assert line_on(client, "2025-03-05").standing == "suspended"

    event(certificate, "voided", date(2026, 1, 1), voids=entered)
    assert line_on(client, "2025-03-05").standing == "certified"

    CertificateWithdrawal.objects.create(certificate=certificate, reason="Not theirs.")
    standing.rebuild_spans(certificate.person, certificate.scope)
    assert line_on(client, "2025-03-05").standing == "never_certified"
    assert certificate.events.count() == 2


def test_who_was_here_that_day_is_shown_and_others_when_asked_for(client, quality):
    make_person(full_name="Came later", started_on=date(2025, 6, 1))
    make_person(full_name="Was here", started_on=date(2020, 1, 1), left_on=date(2025, 5, 31))

    assert names(client.get(REGISTER, {"day": "2025-05-31"})) == ["Was here"]
    assert names(client.get(REGISTER, {"day": "2025-06-01"})) == ["Came later"]
    assert names(client.get(REGISTER, {"day": "2025-06-01", "left": "on"})) == [
        "Came later",
        "Was here",
    ]


def test_counts_and_filters_are_of_the_day_asked_about(client, quality, certificate):
    response = client.get(REGISTER, {"day": "2026-01-01", "standing": "ending"})

    assert names(response) == ["Amaranta Kowal"]
    counted = {one.word: one.number for one in response.context["counted"]}
    assert counted["certified"] == 1
    page = response.content.decode()
    assert "10 Jan 2026".replace(" ", "\u00a0") in page
    assert "ends in" not in page


def test_another_day_is_said_and_leads_back_to_today(client, quality):
    today = make_site().today()

    past = client.get(REGISTER, {"day": "2020-01-01", "q": "Zz"}).content.decode()
    assert "A day that is past, as it is known now." in past
    assert 'href="?q=Zz"' in past
    to_come = client.get(REGISTER, {"day": today + timedelta(days=1)}).content.decode()
    assert "A day to come" in to_come
    for query in ({}, {"day": ""}, {"day": today}):
        assert "Back to today" not in client.get(REGISTER, query).content.decode()


def test_paper_says_the_day_and_the_instant_it_was_printed(client, quality):
    page = client.get(REGISTER, {"day": "2025-05-03"}).content.decode()

    printed = page.split('class="print-only"')[1].split("</p>")[0]
    assert 'datetime="2025-05-03"' in printed
    assert printed.count("<time datetime=") == 2


@pytest.mark.parametrize(
    ("day", "says"),
    [
        ("2026-02-30", "There is no such day"),
        ("tomorrow", "There is no such day"),
        ("1899-12-31", "Give a day from 1900 to 2999"),
        ("9999-12-31", "Give a day from 1900 to 2999"),
    ],
)
def test_impossible_day_is_refused_and_no_file_is_made_of_another(client, quality, day, says):
    response = client.get(REGISTER, {"day": day})

    assert response.status_code == 422
    assert says in response.content.decode()
    for name in ("csv", "xlsx"):
        refused = client.get(f"/register/export.{name}", {"day": day})
        assert refused.status_code == 302
        assert refused.url.startswith(REGISTER)
        assert client.get(refused.url).status_code == 422


@pytest.mark.parametrize("day", ["1900-01-01", "2999-12-31"])
def test_first_and_last_day_of_all_are_answered(client, quality, certificate, day):
    assert client.get(REGISTER, {"day": day}).status_code == 200


def test_file_is_of_the_day_and_says_so(client, quality, certificate):
    response = client.get("/register/export.csv", {"day": "2026-02-01", "q": "Kowal"})

    assert "register-2026-02-01.csv" in response["Content-Disposition"]
    text = b"".join(response.streaming_content).decode("utf-8-sig")
    [row] = csv.DictReader(io.StringIO(text))
    assert (row["as_of"], row["standing"], row["why"]) == (
        "2026-02-01",
        "expired",
        "Certificate expired.",
    )


# Orders


@pytest.fixture
def people(terminals):
    """Three who are certified and one who is not, for two scopes, under two leads."""
    cups = make_scope(code="CUP", title="Cups, operator")
    leads = [make_person(full_name=name, employee_number=name) for name in ("Lead B", "Lead A")]
    anna = make_person(full_name="Anna", line_lead=leads[0])
    berta = make_person(full_name="Berta", line_lead=leads[1])
    carl = make_person(full_name="Carl")
    make_certificate(anna, terminals, issued_on=date(2024, 3, 1))
    make_certificate(anna, cups, issued_on=date(2024, 1, 1))
    make_certificate(berta, cups, issued_on=date(2022, 1, 1))
    suspended = make_certificate(carl, cups, issued_on=date(2024, 2, 1))
    event(suspended, "suspended", date(2024, 5, 1))
    make_person(full_name="Dora")


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        ("scope", ["Anna CUP", "Berta CUP", "Carl CUP", "Anna TERM", "Dora None"]),
        ("standing", ["Carl CUP", "Berta CUP", "Anna CUP", "Anna TERM", "Dora None"]),
        ("end", ["Anna CUP", "Anna TERM", "Berta CUP", "Carl CUP", "Dora None"]),
        ("lead", ["Berta CUP", "Anna CUP", "Anna TERM", "Carl CUP", "Dora None"]),
        ("name", ["Anna CUP", "Anna TERM", "Berta CUP", "Carl CUP", "Dora None"]),
    ],
)
def test_orders_of_a_day(client, quality, people, order, expected):
    response = client.get(REGISTER, {"day": "2024-06-01", "order": order})
    export = client.get("/register/export.csv", {"day": "2024-06-01", "order": order})

    found = [
        f"{person.full_name} {line.scope and line.scope.code}"
        for person, lines in response.context["groups"]
        for line in lines
        if not person.full_name.startswith(("Lead", "Zz"))
    ]
    assert found == expected
    text = b"".join(export.streaming_content).decode("utf-8-sig")
    rows = [
        f"{row['full_name']} {row['scope'] or None}"
        for row in csv.DictReader(io.StringIO(text))
        if not row["full_name"].startswith(("Lead", "Zz"))
    ]
    assert rows == expected


def test_order_by_site(client, quality):
    other = make_site("Aldergate", "AL")
    quality.roles.create(site=other, role="quality")
    make_person(full_name="Here")
    make_person(other, full_name="Xaver There")

    found = names(client.get(REGISTER, {"order": "site"}))

    assert found == ["Xaver There", "Here"]


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({"scope": "CUP"}, ["Anna", "Berta", "Carl"]),
        ({"standing": "suspended"}, ["Carl"]),
        ({"standing": "ending", "day": "2025-12-20"}, ["Anna", "Anna"]),
        ({"standing": "never_certified"}, ["Dora", "Lead A", "Lead B"]),
        ({"standing": "never_certified", "scope": "TERM"}, ["Berta", "Carl", "Dora"]),
        ({"q": "anna"}, ["Anna", "Anna"]),
        ({"lead": "Lead A"}, ["Berta"]),
    ],
)
@pytest.mark.parametrize("order", ["scope", "standing", "end"])
def test_lines_can_be_narrowed_as_people_can(client, quality, people, order, query, expected):
    asked = {"day": "2024-06-01", **query, "order": order}
    found = sorted(names(client.get(REGISTER, asked)))

    if "scope" in query and query.get("standing") == "never_certified":
        found = [name for name in found if not name.startswith("Lead")]
    assert found == expected


@pytest.mark.parametrize("order", ["scope", "standing", "end"])
def test_pages_of_lines_hold_each_line_once(client, quality, terminals, order):
    for number in range(130):
        person = make_person(full_name=f"Person {number:03d}")
        if number % 2:
            make_certificate(person, terminals, issued_on=date(2025, 1, 1))

    pages = [
        client.get(REGISTER, {"day": "2025-06-01", "order": order, "page": page}) for page in (1, 2)
    ]

    assert [len(page.context["groups"]) for page in pages] == [100, 31]
    found = names(pages[0]) + names(pages[1])
    assert len(found) == len(set(found)) == 130
    assert "Lines 101 to 131 of 131" in pages[1].content.decode()


@pytest.mark.parametrize("order", ["name", "number", "site", "lead", "scope", "standing", "end"])
def test_any_day_and_order_takes_the_same_few_queries(
    client, quality, terminals, order, django_assert_max_num_queries
):
    found = []
    for more in (3, 40):
        for _number in range(more):
            make_certificate(make_person(), terminals, issued_on=date(2025, 1, 1))
        client.get(REGISTER)
        with django_assert_max_num_queries(14) as queries:
            response = client.get(REGISTER, {"day": "2025-06-01", "order": order})
        assert response.status_code == 200
        found.append(len(queries))

    assert found[0] == found[1]


# Line leads


def test_line_lead_learns_of_no_day_that_it_is_the_eyes(client, terminals):
    lead = make_user("line_lead", person=make_person(full_name="Goran", employee_number="LEAD"))
    person = make_person(full_name="Lapsed", employee_number="LAPSED", line_lead=lead.person)
    VisionTest.objects.create(test_id="V-1", person=person, tested_on=date(2024, 1, 1), passed=True)
    make_certificate(
        person,
        terminals,
        revision=make_revision(terminals, vision_months=12),
        issued_on=date(2024, 1, 10),
    )
    client.force_login(lead)

    for day in ("2024-06-01", "2024-12-20", "2025-06-01"):
        for order in ("name", "standing", "end"):
            query = {"day": day, "order": order}
            page = client.get(REGISTER, query).content.decode().lower().split("<main")[-1]
            assert "vision" not in page
            files = client.get("/register/export.csv", query)
            assert b"vision" not in b"".join(files.streaming_content).lower()
    line = line_on(client, "2025-06-01", name="Lapsed")
    assert (line.said, line.why) == ("not_current", "Not current: see your instructor.")
