"""manage.py import_register: what it prints, and how it fails."""

import io
from datetime import UTC, datetime

import pytest
from django.core.management import CommandError, call_command

from certification.models import Certificate
from people.models import Person
from records.models import TrailEntry
from tests.audit.bundles import PEOPLE, write_bundle
from tests.factories import make_site

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def sites():
    for name, prefix in [("North", "NO"), ("A", "A"), ("B", "B")]:
        make_site(name, prefix)


def run(*arguments):
    out, err = io.StringIO(), io.StringIO()
    call_command("import_register", *arguments, stdout=out, stderr=err)
    return out.getvalue()


def test_command_reports_what_it_took_in(tmp_path):
    output = run(write_bundle(tmp_path / "bundle"))

    assert "people: 2 new\n" in output
    assert "Created these scopes" in output
    assert "Taken in." in output
    assert Certificate.objects.count() == 1


def test_command_with_check_says_the_same_and_writes_nothing(tmp_path):
    output = run(write_bundle(tmp_path / "bundle"), "--check")

    assert "people: 2 new\n" in output
    assert "Would create these scopes" in output
    assert "Nothing was written." in output
    assert not Person.objects.exists()
    assert not TrailEntry.objects.exists()


def test_command_lists_every_problem_and_fails(tmp_path):
    folder = write_bundle(tmp_path / "bundle", people=[*PEOPLE, ["P3", "Ravi Brandt", "", "West"]])
    err = io.StringIO()

    with pytest.raises(CommandError, match="nothing was"):
        call_command("import_register", folder, stdout=io.StringIO(), stderr=err)

    assert "people.csv, line 4, site: There is no site West. There is: A (A), B (B)" in (
        err.getvalue()
    )


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        pytest.param(["--site", "XX"], "no site with the prefix XX", id="unknown-site"),
        pytest.param(["--zone", "Mars/North"], "not a time zone", id="unknown-zone"),
    ],
)
def test_command_refuses_what_it_does_not_know(tmp_path, arguments, reason):
    with pytest.raises(CommandError, match=reason):
        run(str(write_bundle(tmp_path / "bundle")), *arguments)


def test_command_reads_times_on_the_clock_given(tmp_path):
    run(str(write_bundle(tmp_path / "bundle")), "--zone", "Europe/Madrid")

    assert Certificate.objects.get().recorded_at == datetime(2022, 3, 15, 9, tzinfo=UTC)


def test_thousands_of_one_kind_are_counted_after_the_first(tmp_path):
    rows = [[f"N{number}", "Ravi Brandt", "", "West"] for number in range(1005)]
    err = io.StringIO()

    with pytest.raises(CommandError, match="1005 rows or cells"):
        call_command(
            "import_register",
            write_bundle(tmp_path / "bundle", people=[*PEOPLE, *rows]),
            stdout=io.StringIO(),
            stderr=err,
        )

    lines = err.getvalue().splitlines()
    assert len(lines) == 1001
    assert lines[-1] == "people.csv, site: 5 more of its rows."


def test_command_says_when_there_is_nothing_to_read(tmp_path):
    with pytest.raises(CommandError, match="There is no file or folder"):
        run(tmp_path / "nowhere")
