"""import_register refuses a bundle whose rows do not fit, and names every one of them."""

import re
from datetime import UTC

import pytest

from audit.register_files.bundle_frames import BundleFrames
from audit.services import importing
from certification.models import Scope
from people.models import Person
from records.models import TrailEntry
from tests.audit.bundles import (
    CERTIFICATES,
    EVENTS,
    PEOPLE,
    PRACTICE,
    SCHEMES,
    STAMPS,
    VISION_TESTS,
    certificate,
    event,
    write_bundle,
)
from tests.factories import NOW, make_person, make_revision, make_scope, make_site

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
            {"certificate_events": [*EVENTS, event("V1", "restricted")]},
            ("certificate_events.csv", 2, "restriction"),
            id="restricted-to-nothing-said",
        ),
        pytest.param(
            {"certificate_events": [*EVENTS, event("V1", "unrestricted", only="turrets")]},
            ("certificate_events.csv", 2, "restriction"),
            id="a-restriction-of-another-event",
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
            {"schemes": [SCHEMES[0], ["HAND-24", "0", "same_day", "90", "24", "6"]]},
            ("schemes.csv", 2, "validity_months"),
            id="scheme-without-a-validity",
        ),
        pytest.param(
            {"schemes": [SCHEMES[0], ["HAND-24", "24", "same_day", "3661", "24", "6"]]},
            ("schemes.csv", 2, "renewal_window_days"),
            id="window-longer-than-a-database-keeps",
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


def problems_by_column(folder, part):
    """What the reader of whole columns says of one part."""
    frames = BundleFrames(folder, UTC)
    frames.part(part)
    return frames.bundle.problems


@pytest.mark.parametrize("stem", ["people", "schemes", "certificates", "certificate_events"])
@pytest.mark.parametrize(
    "spoil",
    [
        lambda content: content.decode().encode("utf-16"),
        lambda content: content + "Zoë".encode("latin-1"),
        lambda content: content.replace(b"\n", b'\n"', 1),
        lambda _content: b"",
        lambda content: re.sub(rb"_number|scheme", b"_nummer", content, count=1),
    ],
    ids=["utf-16", "latin-1", "quotation", "empty", "column"],
)
def test_file_that_cannot_be_read_is_one_problem_however_many_rows_name_what_it_holds(
    stem, spoil, tmp_path
):
    practice = [
        ["P2", "turret", f"2022-09-{day:02d}", "2022-09-30T16:00:00"] for day in range(1, 30)
    ]
    renewals = [certificate("C2", "2023-01-01", "C1"), certificate("C3", "2024-01-01", "C2")]
    folder = write_bundle(
        tmp_path / "bundle",
        certificates=[*CERTIFICATES, *renewals],
        certificate_events=[
            *EVENTS,
            event("V1", "suspended", certificate="C2"),
            event("V2", "voided", voids="V1", certificate="C2"),
        ],
        practice=[*PRACTICE, *practice],
    )
    file = folder / f"{stem}.csv"
    file.write_bytes(spoil(file.read_bytes()))

    assert {place[0] for place in refused(folder)} == {f"{stem}.csv"}
    assert len(refused(folder)) == 1


@pytest.mark.parametrize(
    "name",
    ["withdrawn at", "withdrawnat", "withdrawn_att", "witdrawn_at", "withdrwan_at"],
)
def test_optional_column_that_is_a_letter_away_is_refused_and_not_ignored(name, tmp_path):
    rows = [[*CERTIFICATES[0], name], [*CERTIFICATES[1], "2023-01-01T00:00:00"]]
    folder = write_bundle(tmp_path / "bundle", certificates=rows)

    assert refused(folder) == [("certificates.csv", 1, name.lower())]
    [problem] = problems_by_column(folder, "certificates")
    assert problem.reason == "There is no such column: is it withdrawn_at?"


def test_column_that_is_none_of_ours_is_ignored_though_it_sounds_alike(tmp_path):
    rows = [[*CERTIFICATES[0], "withdrawal_note"], [*CERTIFICATES[1], "none"]]
    importing.import_register(
        path=write_bundle(tmp_path / "bundle", certificates=rows), zone=UTC, at=NOW, actor="test"
    )
    assert Person.objects.count() == 2


@pytest.mark.parametrize(
    "address",
    ["ines", "ines@", "@example.test", "a@b", "a b@example.test", "a@example.test, b@c.d"],
)
def test_text_that_is_no_address_is_refused(address, tmp_path):
    rows = [PEOPLE[0], ["P1", "Ines Okafor", address, "North"], PEOPLE[2]]
    folder = write_bundle(tmp_path / "bundle", people=rows)

    assert refused(folder) == [("people.csv", 2, "email")]
    assert [problem.column for problem in problems_by_column(folder, "people")] == ["email"]


def test_address_that_two_people_have_is_pointed_out(tmp_path):
    make_person(make_site("South", "SO"), employee_number="K1", email="zoe@example.test")
    rows = [
        PEOPLE[0],
        ["P1", "Ines Okafor", "ines@example.test", "North"],
        ["P2", "Zoë Lindqvist", "INES@example.test", "North"],
        ["P3", "Zoë Brandt", "zoe@example.test", "North"],
    ]

    summary = importing.import_register(
        path=write_bundle(tmp_path / "bundle", people=rows), zone=UTC, at=NOW, actor="test"
    )

    assert [remark for remark in summary.remarks if "e-mail" in remark] == [
        "people.csv, line 3: INES@example.test is the e-mail address of P1 as well: both read "
        "what goes there.",
        "people.csv, line 4: zoe@example.test is the e-mail address of K1 as well: both read "
        "what goes there.",
    ]


@pytest.mark.parametrize("day", ["1899-12-31", "2200-01-01", "9999-12-31", "0222-03-15"])
def test_day_that_cannot_be_meant_is_refused_with_what_can(day, tmp_path):
    rows = [CERTIFICATES[0], [*CERTIFICATES[1][:4], day, *CERTIFICATES[1][5:]]]
    with pytest.raises(importing.RegisterRefused) as caught:
        importing.import_register(
            path=write_bundle(tmp_path / "bundle", certificates=rows), zone=UTC, at=NOW, actor="x"
        )
    [problem] = caught.value.problems
    assert problem.reason.endswith("between 1900 and 2199.")


def test_certificate_under_a_draft_is_refused(tmp_path):
    make_revision(make_scope(), name="HAND-24", published=False)
    assert ("certificates.csv", 2, "scheme") in refused(
        write_bundle(tmp_path / "bundle", schemes=None)
    )


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
