"""Plain validity on a random register: every row as pandas works it out by as-of joins."""

from datetime import date, timedelta

import numpy as np
import pandas as pd  # type: ignore[import-untyped]
import pytest
from django.core.management import call_command

from audit.services import importing
from certification.models import StandingSpan
from tests.audit.bundles import CERTIFICATES as CERTIFICATE_TABLE
from tests.audit.bundles import csv_bytes
from tests.factories import NOW, make_site

PEOPLE, SCOPES, CERTIFICATES, ROWS = 120, 4, 900, 12_000
FIRST, DAYS = date(2019, 12, 25), 2200
CERTIFICATE_COLUMNS = CERTIFICATE_TABLE[0]
SCHEMES = [
    ["scheme", "validity_months", "expiry_rule", "renewal_window_days"],
    ["Y2", 24, "same_day", 0],
    ["Y1E", 12, "end_of_month", 0],
    ["M18", 18, "same_day", 0],
    ["M1E", 1, "end_of_month", 0],
]


def write_register(folder, rng):
    """Certificates that nothing but their period can end, and work on all days around them."""
    folder.mkdir()
    numbers = [f"E{n}" for n in range(PEOPLE)]
    scopes = [f"scope-{n}" for n in range(SCOPES)]
    days = [FIRST + timedelta(days=n) for n in range(DAYS)]
    telling = [day for day in days if day.day in (1, 28, 29, 30, 31)]

    def some_day():
        return rng.choice(telling if rng.random() < 0.5 else days).isoformat()

    def certificate(n):
        day, scheme = some_day(), SCHEMES[rng.integers(1, len(SCHEMES))][0]
        person, scope = rng.choice(numbers), rng.choice(scopes)
        return [f"C{n}", person, scheme, scope, day, "", f"{day}T10:00:00"]

    tables = {
        "people": [
            ["employee_number", "full_name", "email", "site"],
            *([number, f"Person {number}", "", "Here"] for number in numbers),
        ],
        "schemes": [
            [*SCHEMES[0], "vision_months", "max_absence_months"],
            *([*map(str, scheme), "0", "0"] for scheme in SCHEMES[1:]),
        ],
        "certificates": [CERTIFICATE_COLUMNS, *map(certificate, range(CERTIFICATES))],
    }
    for stem, rows in tables.items():
        (folder / f"{stem}.csv").write_bytes(csv_bytes(rows))
    log = folder.parent / "log.csv"
    log.write_bytes(
        csv_bytes(
            [
                ["row", "employee_number", "scope", "worked_on"],
                *(
                    [str(n), rng.choice([*numbers, "nobody"]), rng.choice(scopes), some_day()]
                    for n in range(ROWS)
                ),
            ]
        )
    )
    return log


def by_pandas(folder, log):
    """One as-of join a scheme, for under one scheme the newest certificate ends last."""
    schemes = pd.read_csv(folder / "schemes.csv", index_col="scheme")
    people = set(pd.read_csv(folder / "people.csv", dtype=str)["employee_number"])
    certificates = pd.read_csv(folder / "certificates.csv", dtype=str)
    certificates["issued"] = pd.to_datetime(certificates["issued_on"])
    certificates = certificates.sort_values(["issued", "certificate_number"])
    log_rows = pd.read_csv(log, dtype=str)
    log_rows["day"] = pd.to_datetime(log_rows["worked_on"])
    log_rows = log_rows.sort_values("day", kind="stable")
    candidates = []
    for name, figures in schemes.iterrows():
        own = certificates[certificates["scheme"] == name].copy()
        own["through"] = own["issued"] + pd.DateOffset(months=int(figures["validity_months"]))
        if figures["expiry_rule"] == "end_of_month":
            own["through"] += pd.offsets.MonthEnd(0)
        columns = ["employee_number", "scope", "issued", "through", "certificate_number"]
        candidates.append(
            pd.merge_asof(
                log_rows,
                own[columns],
                left_on="day",
                right_on="issued",
                by=["employee_number", "scope"],
            )
        )
    joined = pd.concat(candidates).dropna(subset=["certificate_number"])
    joined["certified"] = joined["day"] <= joined["through"]
    joined = joined.sort_values(["certified", "issued", "certificate_number"])
    joined = joined.groupby("row").tail(1).set_index("row")
    answers = {}
    for row, number in zip(log_rows["row"], log_rows["employee_number"], strict=True):
        if number not in people:
            answers[row] = ("unknown_person", "")
        elif row not in joined.index:
            answers[row] = ("never_certified", "")
        else:
            joined_row = joined.loc[row]
            word = "certified" if joined_row["certified"] else "expired"
            answers[row] = (word, joined_row["certificate_number"])
    return answers


@pytest.mark.django_db
@pytest.mark.parametrize("seed", [1, 2])
def test_every_row_is_as_pandas_has_it_from_the_bundle_and_from_the_database(seed, tmp_path):
    folder, output = tmp_path / "bundle", tmp_path / "findings.csv"
    log = write_register(folder, np.random.default_rng(seed))
    expected = by_pandas(folder, log)
    assert {word for word, _number in expected.values()} == {
        *("certified", "expired", "never_certified", "unknown_person")
    }

    def found(*options):
        call_command("check_work_log", str(log), "--output", str(output), *options)
        rows = pd.read_csv(output, dtype=str, keep_default_na=False)
        return {
            row: (standing, certificate)
            for row, standing, certificate in rows[
                ["row", "standing", "certificate_number"]
            ].itertuples(index=False)
        }

    assert found("--register", str(folder)) == expected
    make_site("Here", "HE")
    importing.import_register(path=folder, zone=NOW.tzinfo, at=NOW, actor="test")
    assert StandingSpan.objects.exists()
    assert found() == expected
