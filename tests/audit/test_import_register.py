"""import_register: what is taken in, what is refused, and what the register answers after."""

import csv
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.db import connection

from audit.services import importing
from certification.models import (
    Certificate,
    CertificateEvent,
    CertificateWithdrawal,
    Operation,
    SchemeRevision,
    Scope,
    StandingSpan,
)
from certification.queries import standing_on_day
from people.models import Person, Stamp
from people.services.erasing import erase_person
from records.models import TrailEntry, TrailPayload, append_only
from records.queries.verification import verify_records
from records.services.numbers import next_number
from tests.audit.bundles import (
    CERTIFICATES,
    EVENTS,
    PEOPLE,
    PRACTICE,
    STAMPS,
    VISION_TESTS,
    certificate,
    csv_bytes,
    event,
    tables,
    write_bundle,
    xlsx_bytes,
)
from tests.factories import NOW, make_person, make_site
from training.models import PracticeRecord, VisionTest

pytestmark = [pytest.mark.django_db, pytest.mark.each_database]

CASES = Path(__file__).parent.parent / "reference" / "standing"


@pytest.fixture(autouse=True)
def sites():
    for name, prefix in [("North", "NO"), ("South", "SO"), ("A", "A"), ("B", "B")]:
        make_site(name, prefix)


def take_in(path, **options):
    options = {"zone": UTC, "at": NOW, "actor": "test", **options}
    return importing.import_register(path=path, **options)


def refused(path, **options):
    """The places of all problems: file, line, column."""
    with pytest.raises(importing.RegisterRefused) as caught:
        take_in(path, **options)
    return [(problem.file, problem.line, problem.column) for problem in caught.value.problems]


def expected_findings(folder):
    with (folder / "findings.csv").open(newline="") as stream:
        yield from csv.DictReader(stream)


def assert_answers_agree(folder):
    """Hold the answers and the spans of the database against a folder's expected findings."""
    people = {person.employee_number: person for person in Person.objects.all()}
    scopes = {scope.code: scope for scope in Scope.objects.all()}
    compared = 0
    for row in expected_findings(folder):
        if row["standing"] == "unknown_person":
            assert row["employee_number"] not in people
            continue
        day = date.fromisoformat(row["worked_on"])
        person, scope = people[row["employee_number"]], scopes.get(row["scope"])
        if scope is None:
            assert row["standing"] == "never_certified"
            continue
        answer = standing_on_day.answer(person, scope, day)
        expected = (row["standing"], row["certificate_number"])
        assert (answer.standing.value, answer.certificate_number) == expected, row
        span = StandingSpan.objects.on(day).filter(person=person, scope=scope).first()
        spanned = (span.standing, span.certificate.number) if span else ("never_certified", "")
        assert spanned == expected, row
        compared += 1
    assert compared > 15


@pytest.mark.parametrize("name", ["worked", "edges"])
def test_register_answers_the_worked_cases_after_an_import(name):
    summary = take_in(CASES / name)

    assert summary.written
    assert_answers_agree(CASES / name)


# Which renewal counts is a rule about rows that were read. Each database takes in the other three
# registers of these cases; two that are drawn alike say no more of it.
ONE = pytest.mark.one_database
DRAWN = [pytest.param("random_a", marks=ONE), pytest.param("random_b", marks=ONE), "restricted"]


@pytest.mark.parametrize("name", DRAWN)
def test_renewals_that_cannot_count_are_refused_and_all_else_answers_as_expected(name, tmp_path):
    """The bundle holds renewals of other people's, later and revoked certificates."""
    folder = tmp_path / name
    shutil.copytree(CASES / name, folder)
    problems = refused(folder)
    assert {(file, column) for file, _line, column in problems} == {("certificates.csv", "renews")}
    assert not Person.objects.exists()

    lines = {line for _file, line, _column in problems}
    with (folder / "certificates.csv").open(newline="") as stream:
        rows = list(csv.reader(stream))
    column = rows[0].index("renews")
    for line in lines:
        rows[line - 1][column] = ""
    (folder / "certificates.csv").write_bytes(csv_bytes(rows))
    take_in(folder)

    # The engine gives no effect to such a renewal, so leaving it out changes no answer.
    assert_answers_agree(CASES / name)


def test_restrictions_come_with_their_words_and_can_be_taken_in_again(tmp_path):
    events = [
        *EVENTS,
        event("V1", "restricted", only="leaded solder"),
        event("V2", "unrestricted"),
        event("V3", "voided", voids="V2"),
    ]
    folder = write_bundle(tmp_path / "bundle", certificate_events=events)

    take_in(folder)

    assert list(
        CertificateEvent.objects.order_by("event_id").values_list("kind", "restriction")
    ) == [("restricted", "leaded solder"), ("unrestricted", ""), ("voided", "")]
    span = StandingSpan.objects.get(first_day=date(2023, 1, 1))
    assert (span.restriction, span.certificate.number) == ("leaded solder", "C1")
    assert verify_records().fits
    assert not take_in(folder).added


def test_words_of_a_restriction_that_differ_from_those_taken_in_are_refused(tmp_path):
    taken_in = event("V1", "restricted", only="leaded solder")
    take_in(write_bundle(tmp_path / "first", certificate_events=[*EVENTS, taken_in]))
    other = event("V1", "restricted", only="leaded and lead-free solder")

    problems = refused(write_bundle(tmp_path / "next", certificate_events=[*EVENTS, other]))

    assert problems == [("certificate_events.csv", 2, "restriction")]


def test_facts_keep_the_instant_at_which_the_earlier_register_knew_them(tmp_path):
    certificates = [
        [*CERTIFICATES[0], "withdrawn_at", "restriction", "issued_by"],
        [*CERTIFICATES[1], "2022-05-01T12:00:00", "leaded solder only", "R. Hale"],
    ]

    take_in(write_bundle(tmp_path / "bundle", certificates=certificates))

    certificate = Certificate.objects.get()
    assert certificate.recorded_at == datetime(2022, 3, 15, 10, tzinfo=UTC)
    assert certificate.origin == Certificate.Origin.IMPORTED
    assert (certificate.restriction, certificate.issued_by) == ("leaded solder only", "R. Hale")
    assert certificate.valid_through == date(2024, 3, 15)
    assert certificate.holder_name == "Ines Okafor"
    assert CertificateWithdrawal.objects.get().withdrawn_at == datetime(2022, 5, 1, 12, tzinfo=UTC)
    known_at = datetime(2022, 4, 1, tzinfo=UTC)
    day = date(2022, 4, 1)
    answers = [
        standing_on_day.answer(certificate.person, certificate.scope, day, at).standing.value
        for at in (known_at, None)
    ]
    assert answers == ["certified", "never_certified"]


def test_renewal_in_the_window_runs_on_from_the_earlier_end(tmp_path):
    certificates = [
        CERTIFICATES[0],
        ["C2", "P1", "HAND-24", "turret", "2024-01-20", "C1", "2024-01-20T10:00:00"],
        CERTIFICATES[1],
    ]

    take_in(write_bundle(tmp_path / "bundle", certificates=certificates))

    renewed = Certificate.objects.get(number="C2")
    assert renewed.renews.number == "C1"
    assert renewed.valid_through == date(2026, 3, 15)


def test_schemes_come_as_published_revisions_and_scopes_are_made(tmp_path):
    summary = take_in(write_bundle(tmp_path / "bundle"))

    revision = SchemeRevision.objects.get()
    assert (revision.name, revision.validity_months) == ("HAND-24", 24)
    assert revision.published_at == NOW
    assert [scope.code for scope in revision.scopes.all()] == ["turret"]
    assert Operation.objects.get().scope.code == "turret"
    assert summary.scopes_created == ["turret"]


def test_same_bundle_again_changes_nothing_and_says_so(tmp_path):
    folder = write_bundle(tmp_path / "bundle")
    take_in(folder)
    before = TrailEntry.objects.filter(act="certificate imported").count()

    summary = take_in(folder)

    assert sum(summary.added.values()) == 0
    assert summary.same == {
        "people": 2,
        "schemes": 1,
        "certificates": 1,
        "vision_tests": 1,
        "practice": 1,
        "stamps": 2,
        "operations": 1,
    }
    assert "certificates.csv: 1 rows are in the register already: left alone." in summary.remarks
    assert (Certificate.objects.count(), Person.objects.count(), Stamp.objects.count()) == (1, 2, 2)
    assert TrailEntry.objects.filter(act="certificate imported").count() == before


@pytest.mark.parametrize(
    ("changed", "place"),
    [
        pytest.param(
            {"people": [PEOPLE[0], ["P1", "Ines Okafor-Hale", "ines@example.test", "North"]]},
            ("people.csv", 2, "full_name"),
            id="name",
        ),
        pytest.param(
            {"people": [PEOPLE[0], ["P1", "Ines Okafor", "ines@example.test", "South"]]},
            ("people.csv", 2, "site"),
            id="site",
        ),
        pytest.param(
            {"schemes": [tables()["schemes"][0], ["HAND-24", "12", "same_day", "90", "24", "6"]]},
            ("schemes.csv", 2, "validity_months"),
            id="scheme",
        ),
        pytest.param(
            {
                "certificates": [
                    CERTIFICATES[0],
                    ["C1", "P1", "HAND-24", "turret", "2022-03-16", "", "2022-03-15T10:00:00"],
                ]
            },
            ("certificates.csv", 2, "issued_on"),
            id="certificate",
        ),
        pytest.param(
            {
                "vision_tests": [
                    VISION_TESTS[0],
                    ["T1", "P1", "2022-03-01", "fail", "2022-03-01T08:00"],
                ]
            },
            ("vision_tests.csv", 2, "result"),
            id="vision-test",
        ),
        pytest.param(
            {"operations": [["operation", "scope"], ["OP-120", "cup"]]},
            ("operations.csv", 2, "scope"),
            id="operation",
        ),
    ],
)
def test_row_that_says_something_else_than_the_register_is_refused(tmp_path, changed, place):
    take_in(write_bundle(tmp_path / "first"))

    assert place in refused(write_bundle(tmp_path / "second", **changed))


def test_column_that_a_later_file_leaves_out_is_not_compared(tmp_path):
    people = [[*PEOPLE[0], "line_lead"], [*PEOPLE[1], "P2"], [*PEOPLE[2], ""]]
    take_in(write_bundle(tmp_path / "first", people=people))

    assert take_in(write_bundle(tmp_path / "second")).same["people"] == 2
    assert Person.objects.get(employee_number="P1").line_lead.employee_number == "P2"


def test_what_was_withdrawn_or_returned_since_is_taken_in(tmp_path):
    take_in(write_bundle(tmp_path / "first", stamps=[STAMPS[0], ["47", "P1", "2022-01-01", ""]]))
    later = "2026-01-01T00:00:00"
    changed = {
        "certificates": [[*CERTIFICATES[0], "withdrawn_at"], [*CERTIFICATES[1], later]],
        "vision_tests": [[*VISION_TESTS[0], "withdrawn_at"], [*VISION_TESTS[1], later]],
        "practice": [[*PRACTICE[0], "withdrawn_at"], [*PRACTICE[1], later]],
    }

    summary = take_in(write_bundle(tmp_path / "second", **changed))

    assert summary.amended == {"certificates": 1, "vision_tests": 1, "practice": 1, "stamps": 1}
    assert not Certificate.objects.not_withdrawn().exists()
    assert not VisionTest.objects.not_withdrawn().exists()
    assert not PracticeRecord.objects.not_withdrawn().exists()
    assert not StandingSpan.objects.exists()
    numbers = [stamp.person.employee_number for stamp in Stamp.objects.order_by("issued_on")]
    assert numbers == ["P1", "P2"]


def test_voided_event_that_names_a_voided_one_changes_nothing_and_is_remarked(tmp_path):
    events = [
        *EVENTS,
        event("V3", "voided", voids="V2"),
        event("V1", "revoked"),
        event("V2", "voided", voids="V1"),
    ]

    summary = take_in(write_bundle(tmp_path / "bundle", certificate_events=events))

    assert any("cannot be voided" in remark for remark in summary.remarks)
    assert CertificateEvent.objects.get(event_id="V3").voids.event_id == "V2"
    answer = standing_on_day.answer(
        Person.objects.get(employee_number="P1"), Scope.objects.get(), date(2023, 2, 1)
    )
    assert answer.certificate_number == "C1"
    assert answer.standing.value != "revoked"


def test_employee_number_that_somebody_had_before_is_not_given_again(tmp_path):
    person = make_person()
    person.former_numbers.create(employee_number="P1", until_on=date(2020, 1, 1))

    assert ("people.csv", 2, "employee_number") in refused(write_bundle(tmp_path / "bundle"))


def test_stamp_that_somebody_holds_already_is_refused(tmp_path):
    Stamp.objects.create(mark="47", person=make_person(), issued_on=date(2021, 5, 1))

    assert refused(write_bundle(tmp_path / "bundle")) == [
        ("stamps.csv", 2, "issued_on"),
        ("stamps.csv", 3, "issued_on"),
    ]


def test_numbers_in_our_own_form_are_not_given_again(tmp_path):
    certificates = [CERTIFICATES[0], certificate("NO-C-00041", "2022-03-15", "")]

    take_in(write_bundle(tmp_path / "bundle", certificates=certificates))

    assert next_number("NO", "C") == "NO-C-00042"


def test_import_is_in_the_trail_and_everything_still_verifies(tmp_path):
    summary = take_in(write_bundle(tmp_path / "bundle"))

    acts = list(TrailEntry.objects.values_list("act", "about_id", "actor_label"))
    revision = SchemeRevision.objects.get()
    test, practice = VisionTest.objects.get(), PracticeRecord.objects.get()
    scope, operation = Scope.objects.get(), Operation.objects.get()
    assert acts == [
        ("scope created", str(scope.pk), "test"),
        ("scheme imported", str(revision.pk), "test"),
        ("operation added", str(operation.pk), "test"),
        ("certificate imported", "C1", "test"),
        ("vision test imported", str(test.pk), "test"),
        ("practice imported", str(practice.pk), "test"),
        ("register imported", "bundle", "test"),
    ]
    assert summary.hashes["people.csv"] in TrailEntry.objects.last().payload.body
    assert append_only.missing(connection) == []
    assert verify_records().fits


def test_people_of_rows_without_a_site_go_to_the_site_given(tmp_path):
    people = [PEOPLE[0], ["P1", "Ines Okafor", "", ""], ["P2", "Zoë Lindqvist", "", "south"]]

    take_in(write_bundle(tmp_path / "bundle", people=people), default_site=make_site("A", "A"))

    sites = Person.objects.order_by("employee_number").values_list("site__name", flat=True)
    assert list(sites) == ["A", "South"]


def test_bundle_of_spreadsheet_files_is_taken_in_like_the_plain_one(tmp_path):
    folder = tmp_path / "saved"
    folder.mkdir()
    bundle_tables = tables()
    for stem in ("people", "schemes", "stamps", "operations"):
        content = csv_bytes(bundle_tables[stem], delimiter=";", line_end="\r\n", bom=True)
        (folder / f"{stem}.csv").write_bytes(content)
    for stem in ("certificates", "vision_tests", "practice"):
        heading, *rows = bundle_tables[stem]
        cells = [[_as_cell(text) for text in row] for row in rows]
        (folder / f"{stem}.xlsx").write_bytes(xlsx_bytes([heading, *cells]))
    take_in(write_bundle(tmp_path / "plain"))

    summary = take_in(folder)

    assert sum(summary.added.values()) == 0
    assert summary.same["certificates"] == summary.same["practice"] == 1


def _as_cell(text):
    """A date cell where a spreadsheet program would make one."""
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return text


def test_an_imported_certificate_is_compared_after_its_holder_was_erased(tmp_path):
    take_in(write_bundle(tmp_path))
    certificate = Certificate.objects.order_by("number").first()
    Person.objects.filter(pk=certificate.person_id).update(left_on=date(2026, 1, 1))
    before = verify_records()

    erase_person(
        person=certificate.person, reason="Asked for.", actor=None, at=NOW + timedelta(days=1)
    )

    after = verify_records()
    assert (after.faults, after.not_compared) == ([], before.not_compared)
    name = certificate.holder_name
    assert not TrailPayload.objects.filter(body__contains=name).exists()
    with append_only.lifted(connection):
        Certificate.objects.filter(pk=certificate.pk).update(issued_on=date(2020, 2, 2))
    assert [str(fault) for fault in verify_records().faults] == [
        f"certification_certificate {certificate.number} is not what trail entry "
        f"{TrailEntry.objects.get(act='certificate imported', about_id=certificate.number).pk} "
        "wrote down: issued_on."
    ]
