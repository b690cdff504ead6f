"""Registers aimed at the edges: bundle, database, stored spans and the rules read out agree."""

import csv
import io
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest
from django.core.management import call_command

from audit.services import importing
from certification.models import StandingSpan
from tests.audit.edge_bundles import EdgeBundle
from tests.factories import NOW, make_site

pytestmark = pytest.mark.django_db

ZONES = ["UTC", "America/New_York", "Pacific/Auckland", "Europe/Madrid"]
SEEDS = range(4)
QUESTIONS = {
    "plain": ([], {}),
    "then": (["--as-known-then"], {"known_then": True}),
    "practice": (["--counts-as-practice"], {"counts": True}),
    "then, with practice": (
        ["--as-known-then", "--counts-as-practice"],
        {"known_then": True, "counts": True},
    ),
    "end of a day": (["--as-known-at", "2024-02-29"], {"day": date(2024, 2, 29)}),
    "midnight": (
        ["--as-known-at", "2024-03-01T00:00:00"],
        {"local": datetime(2024, 3, 1, tzinfo=UTC)},
    ),
    "an instant with its offset, and practice": (
        ["--as-known-at", "2024-01-31T23:59:59+00:00", "--counts-as-practice"],
        {"known_at": datetime(2024, 1, 31, 23, 59, 59, tzinfo=UTC), "counts": True},
    ),
}


def expected(bundle, question, **more):
    options = dict(question)
    if day := options.pop("day", None):
        options["known_at"] = datetime.combine(day, time.max, bundle.zone)
    if local := options.pop("local", None):
        options["known_at"] = local.replace(tzinfo=bundle.zone)
    return bundle.expected(**options, **more)


def findings(folder, zone, options, *more):
    output = folder / "findings.csv"
    output.unlink(missing_ok=True)
    call_command(
        "check_work_log",
        str(folder / "work_log.csv"),
        *("--zone", str(zone), "--output", str(output), *options, *more),
        stdout=io.StringIO(),
        stderr=io.StringIO(),
    )
    with output.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return [(row["row"], row["standing"], row["certificate_number"]) for row in rows]


def import_it(folder, zone):
    """Take the bundle in; return whose renewals it was refused for, left out the second time."""
    try:
        importing.import_register(path=folder, zone=zone, at=NOW, actor="test")
    except importing.RegisterRefused as error:
        refused = error.problems
    else:
        return set()
    assert {problem.column for problem in refused} == {"renews"}
    path = folder / "certificates.csv"
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    for problem in refused:
        rows[problem.line - 1][rows[0].index("renews")] = ""
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    importing.import_register(path=folder, zone=zone, at=NOW, actor="test")
    return {rows[problem.line - 1][0] for problem in refused}


@pytest.mark.parametrize("seed", SEEDS)
def test_bundle_database_and_rules_give_the_same_findings_row_for_row(seed, tmp_path):
    zone = ZoneInfo(ZONES[seed % len(ZONES)])
    bundle = EdgeBundle(seed, zone)
    folder = bundle.write(tmp_path / "bundle")

    for name, (options, question) in QUESTIONS.items():
        rows = findings(folder, zone, options, "--register", str(folder))
        assert rows == expected(bundle, question), (seed, name, "bundle")

    make_site("Castelmar", "CA")
    left_out = import_it(folder, zone)
    standings = set()
    for name, (options, question) in QUESTIONS.items():
        right = expected(bundle, question, without_renewals=left_out)
        standings |= {standing for _row, standing, _number in right}
        assert findings(folder, zone, options) == right, (seed, name, "database")
        rows = findings(folder, zone, options, "--register", str(folder))
        assert rows == right, (seed, name, "bundle without what the import refused")

    spans = StandingSpan.objects.select_related("person", "scope", "certificate")
    for row, standing, number in expected(bundle, {}, without_renewals=left_out):
        if standing == "unknown_person":
            continue
        _row, who, stamp, scope, day = bundle.log[int(row)]
        of_them = spans.filter(
            person__employee_number=who or bundle.holder(stamp, day), scope__code=scope
        )
        stored = of_them.on(day).first()
        answer = (stored.standing, stored.certificate.number) if stored else ("never_certified", "")
        assert answer == (standing, number), (seed, row, "stored spans")
    assert standings >= {"certified", "expired", "never_certified", "unknown_person", "suspended"}
