"""import_register refuses a bundle whose rows do not fit, and names every one of them."""

from datetime import UTC

import pytest

from audit.services import importing
from certification.models import Scope
from people.models import Person
from records.models import TrailEntry
from tests.audit.bundles import (
    CERTIFICATES,
    EVENTS,
    PEOPLE,
    PRACTICE,
    STAMPS,
    VISION_TESTS,
    certificate,
    event,
    write_bundle,
)
from tests.factories import NOW, make_site

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def sites():
    make_site("North", "NO")


def refused(path):
    """The places of all problems: file, line, column."""
    with pytest.raises(importing.RegisterRefused) as caught:
        importing.import_register(path=path, zone=UTC, at=NOW, actor="test")
    return [(problem.file, problem.line, problem.column) for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("changed", "place"),
    [
        pytest.param(
            {"people": [*PEOPLE, PEOPLE[1]]},
            ("people.csv", 4, "employee_number"),
            id="person-twice",
        ),
        pytest.param(
            {"people": [*PEOPLE, ["P3", "Ravi Brandt", "", "West"]]},
            ("people.csv", 4, "site"),
            id="unknown-site",
        ),
        pytest.param(
            {"people": [*PEOPLE, ["P3", "Ravi Brandt", "", ""]]},
            ("people.csv", 4, "site"),
            id="no-site",
        ),
        pytest.param(
            {"people": [[*PEOPLE[0], "line_lead"], [*PEOPLE[1], "P9"], [*PEOPLE[2], "P2"]]},
            ("people.csv", 2, "line_lead"),
            id="unknown-lead",
        ),
        pytest.param(
            {"people": [[*PEOPLE[0], "line_lead"], [*PEOPLE[1], ""], [*PEOPLE[2], "P2"]]},
            ("people.csv", 3, "line_lead"),
            id="own-lead",
        ),
        pytest.param(
            {
                "people": [
                    [*PEOPLE[0], "started_on", "left_on"],
                    [*PEOPLE[1], "2022-01-02", "2022-01-01"],
                    [*PEOPLE[2], "", ""],
                ]
            },
            ("people.csv", 2, "left_on"),
            id="left-before-start",
        ),
        pytest.param({"schemes": None}, ("certificates.csv", 2, "scheme"), id="unknown-scheme"),
        pytest.param(
            {"certificates": [*CERTIFICATES, CERTIFICATES[1]]},
            ("certificates.csv", 3, "certificate_number"),
            id="certificate-twice",
        ),
        pytest.param(
            {"certificates": [*CERTIFICATES, certificate("C2", "2023-01-01", "", person="P9")]},
            ("certificates.csv", 3, "employee_number"),
            id="certificate-of-a-stranger",
        ),
        pytest.param(
            {"certificates": [*CERTIFICATES, certificate("C2", "2023-01-01", "C9")]},
            ("certificates.csv", 3, "renews"),
            id="renews-what-there-is-not",
        ),
        pytest.param(
            {"certificates": [*CERTIFICATES, certificate("C2", "2023-01-01", "C1", person="P2")]},
            ("certificates.csv", 3, "renews"),
            id="renews-another-persons",
        ),
        pytest.param(
            {"certificates": [*CERTIFICATES, certificate("C2", "2023-01-01", "C1", scope="cup")]},
            ("certificates.csv", 3, "renews"),
            id="renews-another-scope",
        ),
        pytest.param(
            {"certificates": [*CERTIFICATES, certificate("C2", "2022-03-15", "C1")]},
            ("certificates.csv", 3, "renews"),
            id="renews-one-of-the-same-day",
        ),
        pytest.param(
            {
                "certificates": [*CERTIFICATES, certificate("C2", "2023-01-01", "C1")],
                "certificate_events": [*EVENTS, event("V1", "revoked")],
            },
            ("certificates.csv", 3, "renews"),
            id="renews-a-revoked-one",
        ),
        pytest.param(
            {
                "certificates": [
                    [*CERTIFICATES[0], "withdrawn_at"],
                    [*CERTIFICATES[1], "2022-03-01T00:00:00"],
                ]
            },
            ("certificates.csv", 2, "withdrawn_at"),
            id="withdrawn-before-recorded",
        ),
        pytest.param(
            {"certificate_events": [*EVENTS, event("V1", "suspended", certificate="C9")]},
            ("certificate_events.csv", 2, "certificate_number"),
            id="event-of-no-certificate",
        ),
        pytest.param(
            {"certificate_events": [*EVENTS, event("V1", "voided")]},
            ("certificate_events.csv", 2, "voids"),
            id="voided-without-an-event",
        ),
        pytest.param(
            {"certificate_events": [*EVENTS, event("V1", "voided", voids="V1")]},
            ("certificate_events.csv", 2, "voids"),
            id="voids-itself",
        ),
        pytest.param(
            {
                "certificate_events": [
                    *EVENTS,
                    event("V1", "voided", voids="V2"),
                    event("V2", "voided", voids="V1"),
                ]
            },
            ("certificate_events.csv", 3, "voids"),
            id="void-each-other",
        ),
        pytest.param(
            {
                "certificates": [*CERTIFICATES, certificate("C2", "2022-05-01", "", person="P2")],
                "certificate_events": [
                    *EVENTS,
                    event("V1", "suspended"),
                    event("V2", "voided", voids="V1", certificate="C2"),
                ],
            },
            ("certificate_events.csv", 3, "voids"),
            id="voids-an-event-of-another-certificate",
        ),
        pytest.param(
            {
                "certificate_events": [
                    *EVENTS,
                    event("V1", "suspended"),
                    event("V2", "reinstated", voids="V1"),
                ]
            },
            ("certificate_events.csv", 3, "voids"),
            id="names-an-event-without-voiding-it",
        ),
        pytest.param(
            {"certificate_events": [*EVENTS, event("V1", "extended", authority="QM-02")]},
            ("certificate_events.csv", 2, "until"),
            id="extended-without-a-day",
        ),
        pytest.param(
            {"certificate_events": [*EVENTS, event("V1", "extended", until="2025-01-01")]},
            ("certificate_events.csv", 2, "authority"),
            id="extended-without-an-authority",
        ),
        pytest.param(
            {"vision_tests": [*VISION_TESTS, VISION_TESTS[1]]},
            ("vision_tests.csv", 3, "test_id"),
            id="test-twice",
        ),
        pytest.param(
            {"practice": [*PRACTICE, ["P9", "turret", "2022-09-15", "2022-09-15T16:00:00"]]},
            ("practice.csv", 3, "employee_number"),
            id="practice-of-a-stranger",
        ),
        pytest.param(
            {"stamps": [*STAMPS, ["47", "P1", "2024-03-01", "2024-04-01"]]},
            ("stamps.csv", 4, "issued_on"),
            id="stamp-in-two-hands",
        ),
        pytest.param(
            {"stamps": [*STAMPS, ["48", "P1", "2024-03-01", "2024-02-01"]]},
            ("stamps.csv", 4, "returned_on"),
            id="stamp-returned-before-issue",
        ),
        pytest.param(
            {"operations": [["operation", "scope"], ["OP", "turret"], ["OP", "cup"]]},
            ("operations.csv", 3, "operation"),
            id="operation-twice",
        ),
    ],
)
def test_row_that_does_not_fit_is_named_and_nothing_is_taken_in(tmp_path, changed, place):
    before = TrailEntry.objects.count()

    assert place in refused(write_bundle(tmp_path / "bundle", **changed))

    assert not Person.objects.exists()
    assert not Scope.objects.exists()
    assert TrailEntry.objects.count() == before


def test_all_problems_are_reported_at_once_and_each_only_where_it_is(tmp_path):
    changed = {
        "people": [*PEOPLE, ["P3", "", "", "North"]],
        "certificates": [*CERTIFICATES, certificate("C2", "2023-02-30", "", person="P3")],
        "certificate_events": [*EVENTS, event("V1", "suspended", certificate="C2")],
        "practice": [*PRACTICE, ["P9", "turret", "2022-09-15", "2022-09-15T16:00:00"]],
    }

    assert refused(write_bundle(tmp_path / "bundle", **changed)) == [
        ("certificates.csv", 3, "issued_on"),
        ("certificates.csv", 3, "recorded_at"),
        ("people.csv", 4, "full_name"),
        ("practice.csv", 3, "employee_number"),
    ]
