"""A bundle's people, certificates and spans as rows of the database, without an import."""

import sys
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import polars as pl
from django.core.management import call_command
from django.db import connection

from audit.domain.standing_spans import DAY_BITS, STANDINGS, LoggedDays
from audit.domain.work_log_check import CheckOptions
from audit.register_files.bundle_register import BundleRegister
from certification.models import Certificate, Scheme, SchemeRevision, Scope, StandingSpan
from operations.services.new_database import make_tables_if_empty
from people.models import Person, Site

BATCH = 5_000
AT = datetime(2026, 6, 30, tzinfo=UTC)


def fill(folder: Path) -> None:
    """Fill the database of the settings in force."""
    make_tables_if_empty(connection)
    call_command("migrate", verbosity=0, stdout=sys.stderr)
    bundle = folder / "bundle"
    register = BundleRegister(bundle, UTC)
    site = Site.objects.create(name="Here", prefix="H", time_zone="UTC")
    people = Person.objects.bulk_create(
        [
            Person(employee_number=number, full_name=number, site=site)
            for number in register.numbers
        ],
        batch_size=BATCH,
    )
    scopes = Scope.objects.bulk_create([Scope(code=code, title=code) for code in register.scopes])
    revisions = {}
    for row in pl.read_csv(bundle / "schemes.csv").iter_rows(named=True):
        scheme = Scheme.objects.create(code=row["scheme"], title=row["scheme"])
        name = row.pop("scheme")
        revisions[name] = SchemeRevision.objects.create(
            scheme=scheme, revision=1, name=name, published_at=AT, **row
        )
    certificates = Certificate.objects.bulk_create(
        [
            Certificate(
                number=row["certificate_number"],
                person=people[register.people[row["employee_number"]]],
                scope=scopes[register.scopes[row["scope"]]],
                scheme_revision=revisions[row["scheme"]],
                issued_on=date.fromisoformat(row["issued_on"]),
                valid_through=date.fromisoformat(row["issued_on"]),
                origin="imported",
                holder_name=row["employee_number"],
                recorded_at=AT,
            )
            for row in pl.read_csv(bundle / "certificates.csv").iter_rows(named=True)
        ],
        batch_size=BATCH,
    )
    by_number = {certificate.number: certificate.pk for certificate in certificates}
    pairs = np.arange(len(people) * len(scopes))
    spans = register.spans(
        LoggedDays(pairs << DAY_BITS), CheckOptions(), lambda stage, done, total: None
    )
    rows = zip(spans.keys.tolist(), spans.standings.tolist(), spans.certificates, strict=True)
    StandingSpan.objects.bulk_create(
        (
            StandingSpan(
                person_id=people[(key >> DAY_BITS) // len(scopes)].pk,
                scope_id=scopes[(key >> DAY_BITS) % len(scopes)].pk,
                first_day=(day := date.fromordinal(key & ((1 << DAY_BITS) - 1))),
                stands_since=day,
                standing=STANDINGS[standing],
                certificate_id=by_number[number],
                rule=STANDINGS[standing],
            )
            for key, standing, number in rows
        ),
        batch_size=BATCH,
    )
