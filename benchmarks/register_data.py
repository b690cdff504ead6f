"""A random register bundle and work log of any size, written as CSV files."""

from datetime import date, datetime
from pathlib import Path

import numpy as np
import polars as pl

FIRST, LAST = date(2020, 1, 1), date(2026, 6, 30)
DAYS = (LAST - FIRST).days
SCHEMES = pl.DataFrame(
    {
        "scheme": ["S24", "S12E", "S24N", "P24"],
        "validity_months": [24, 12, 24, 24],
        "expiry_rule": ["same_day", "end_of_month", "same_day", "same_day"],
        "renewal_window_days": [90, 60, 90, 0],
        "vision_months": [24, 12, 0, 0],
        "max_absence_months": [6, 0, 9, 0],
    }
)


def write(
    folder: Path,
    *,
    people: int,
    scopes: int,
    certificates: int,
    practice: int,
    vision_tests: int,
    log: int,
    seed: int = 1,
) -> None:
    """Write ``folder/bundle`` and ``folder/log.csv``."""
    rng = np.random.default_rng(seed)
    bundle = folder / "bundle"
    bundle.mkdir(parents=True, exist_ok=True)
    numbers = pl.Series([f"E{n:06d}" for n in range(people)])
    codes = pl.Series([f"scope_{n:02d}" for n in range(scopes)])
    pl.DataFrame(
        {
            "employee_number": numbers,
            "full_name": [f"Person {n}" for n in range(people)],
            "email": pl.Series([None] * people, dtype=pl.String),
            "site": ["Here"] * people,
        }
    ).write_csv(bundle / "people.csv")
    SCHEMES.write_csv(bundle / "schemes.csv")
    _certificates(rng, numbers, codes, certificates).write_csv(bundle / "certificates.csv")
    _events(rng, certificates).write_csv(bundle / "certificate_events.csv")
    pl.DataFrame(
        {
            "test_id": [f"T{n}" for n in range(vision_tests)],
            "employee_number": numbers.gather(rng.integers(people, size=vision_tests)),
            "tested_on": _days(tested := rng.integers(DAYS, size=vision_tests)),
            "result": pl.Series(["pass", "fail"]).gather((rng.random(vision_tests) < 0.05) * 1),
            "recorded_at": _instants(rng, tested),
        }
    ).write_csv(bundle / "vision_tests.csv")
    pl.DataFrame(
        {
            "employee_number": numbers.gather(rng.integers(people, size=practice)),
            "scope": codes.gather(rng.integers(scopes, size=practice)),
            "performed_on": _days(done := rng.integers(DAYS, size=practice)),
            "recorded_at": _instants(rng, done),
        }
    ).write_csv(bundle / "practice.csv")
    pl.DataFrame(
        {
            "row": pl.int_range(1, log + 1, eager=True),
            "employee_number": numbers.gather(rng.integers(people, size=log)),
            "scope": codes.gather(rng.integers(scopes, size=log)),
            "worked_on": _days(rng.integers(DAYS, size=log)),
            "work_order": [f"W{n:06d}" for n in rng.integers(1_000_000, size=log)],
        }
    ).write_csv(folder / "log.csv")


def _certificates(
    rng: np.random.Generator, numbers: pl.Series, codes: pl.Series, count: int
) -> pl.DataFrame:
    issued = rng.integers(DAYS, size=count)
    certificates = pl.DataFrame(
        {
            "certificate_number": [f"C{n:07d}" for n in range(count)],
            "employee_number": numbers.gather(rng.integers(len(numbers), size=count)),
            "scheme": SCHEMES["scheme"].gather(rng.integers(SCHEMES.height, size=count)),
            "scope": codes.gather(rng.integers(len(codes), size=count)),
            "issued_on": _days(issued),
            "recorded_at": _instants(rng, issued),
        }
    )
    before = pl.col("certificate_number").sort_by("issued_on", "certificate_number").shift()
    certificates = certificates.sort("issued_on", "certificate_number").with_columns(
        before.over("employee_number", "scope").alias("renews")
    )
    return certificates.select(
        *["certificate_number", "employee_number", "scheme", "scope", "issued_on", "renews"],
        "recorded_at",
    )


def _events(rng: np.random.Generator, certificates: int) -> pl.DataFrame:
    """One certificate in thirty is suspended for a while, ended or revoked."""
    count = certificates // 30
    kinds = pl.Series(["suspended", "reinstated", "ended", "revoked"])
    effective = rng.integers(DAYS, size=count)
    chosen = rng.integers(certificates, size=count)
    return pl.DataFrame(
        {
            "event_id": [f"V{n}" for n in range(count)],
            "certificate_number": [f"C{n:07d}" for n in chosen],
            "event": kinds.gather(rng.choice(4, size=count, p=[0.4, 0.4, 0.15, 0.05])),
            "effective_on": _days(effective),
            "recorded_at": _instants(rng, effective),
            "voids": pl.Series([None] * count, dtype=pl.String),
            "reason": ["as entered"] * count,
        }
    )


def _days(offsets: np.ndarray) -> pl.Series:
    return pl.Series(offsets.astype(np.int32) + (FIRST - date(1970, 1, 1)).days).cast(pl.Date)


def _instants(rng: np.random.Generator, offsets: np.ndarray) -> pl.Series:
    """In the hours after a day began, as text without an offset."""
    begin = np.datetime64(datetime(FIRST.year, FIRST.month, FIRST.day), "s")  # noqa: DTZ001
    seconds = offsets.astype(np.int64) * 86_400 + rng.integers(6 * 3600, 40 * 3600, len(offsets))
    at = (begin + seconds.astype("timedelta64[s]")).astype("datetime64[ms]")
    return pl.Series(at).dt.to_string("%Y-%m-%dT%H:%M:%S")
