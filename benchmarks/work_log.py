"""Checking a work log under the full rules, beside as-of joins that do plain validity alone.

    .venv/bin/python -m benchmarks.work_log [--log 1000000 --certificates 100000 ...] [--runs 3]

Product and peers read the same files and write findings; each runs in a process of its own,
whose time (from the first file to the last, programs loaded) and peak memory are printed
as ratios. The peers ask nothing of practice, vision or events, so they do less than the
product has to. Against the database the spans are ready, as they always are in the product.
"""

import argparse
import json
import os
import resource
import secrets
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from benchmarks import register_data

SMALLER = 100


def by_bundle(folder: Path) -> None:
    from django.core.management import call_command

    call_command(
        *("check_work_log", str(folder / "log.csv"), "--register", str(folder / "bundle")),
        *("--output", str(folder / "findings_bundle.csv")),
        stdout=sys.stderr,
    )


def by_database(folder: Path) -> None:
    from django.core.management import call_command

    output = folder / "findings_database.csv"
    call_command("check_work_log", str(folder / "log.csv"), "--output", output, stdout=sys.stderr)


def by_pandas(folder: Path) -> None:
    import pandas as pd  # type: ignore[import-untyped]

    bundle = folder / "bundle"
    read = {path.stem: pd.read_csv(path, dtype=str) for path in sorted(bundle.glob("*.csv"))}
    log = pd.read_csv(folder / "log.csv", dtype=str)
    log["day"] = pd.to_datetime(log["worked_on"], format="%Y-%m-%d")
    certificates = read["certificates"].merge(read["schemes"], on="scheme")
    certificates["day"] = pd.to_datetime(certificates["issued_on"], format="%Y-%m-%d")
    certificates["through"] = certificates["day"]
    for months, rows in certificates.groupby("validity_months").groups.items():
        certificates.loc[rows, "through"] += pd.DateOffset(months=int(months))
    month_end = certificates["expiry_rule"] == "end_of_month"
    certificates.loc[month_end, "through"] += pd.offsets.MonthEnd(0)
    joined = pd.merge_asof(
        log.sort_values("day", kind="stable"),
        certificates[
            ["employee_number", "scope", "day", "through", "certificate_number"]
        ].sort_values("day", kind="stable"),
        on="day",
        by=["employee_number", "scope"],
    )
    joined["standing"] = "never_certified"
    joined.loc[joined["through"].notna(), "standing"] = "expired"
    joined.loc[joined["day"] <= joined["through"], "standing"] = "certified"
    joined.loc[~joined["employee_number"].isin(read["people"]["employee_number"]), "standing"] = (
        "unknown_person"
    )
    joined["row"] = joined["row"].astype(int)
    joined.sort_values("row").drop(columns=["day", "through"]).to_csv(
        folder / "findings_pandas.csv", index=False
    )


def by_polars(folder: Path) -> None:
    import polars as pl

    bundle = folder / "bundle"
    read = {
        path.stem: pl.read_csv(path, infer_schema=False) for path in sorted(bundle.glob("*.csv"))
    }
    day = pl.col("worked_on").str.to_date("%Y-%m-%d").alias("day")
    log = pl.read_csv(folder / "log.csv", infer_schema=False).with_columns(day)
    issued = pl.col("issued_on").str.to_date("%Y-%m-%d")
    through = issued.dt.offset_by(pl.col("validity_months") + "mo")
    certificates = (
        read["certificates"]
        .join(read["schemes"], on="scheme")
        .select(
            *("employee_number", "scope", "certificate_number", issued.alias("day")),
            pl.when(pl.col("expiry_rule") == "end_of_month")
            .then(through.dt.month_end())
            .otherwise(through)
            .alias("through"),
        )
        .sort("day", maintain_order=True)
    )
    joined = log.sort("day", maintain_order=True).join_asof(
        certificates, on="day", by=["employee_number", "scope"], check_sortedness=False
    )
    standing = (
        pl.when(~pl.col("employee_number").is_in(read["people"]["employee_number"].implode()))
        .then(pl.lit("unknown_person"))
        .when(pl.col("day") <= pl.col("through"))
        .then(pl.lit("certified"))
        .when(pl.col("through").is_not_null())
        .then(pl.lit("expired"))
        .otherwise(pl.lit("never_certified"))
        .alias("standing")
    )
    joined.with_columns(standing).sort(pl.col("row").cast(pl.Int64)).drop(
        "day", "through"
    ).write_csv(folder / "findings_polars.csv")


WAYS: dict[str, Callable[[Path], None]] = {
    "bundle": by_bundle,
    "database": by_database,
    "pandas": by_pandas,
    "polars": by_polars,
}


def fill_database(folder: Path) -> None:
    """Put people, certificates and spans where the product has them; nobody measures this."""
    from benchmarks.register_rows import fill

    fill(folder)


def set_up() -> None:
    import django

    django.setup()


def run_one(way: str, folder: Path) -> None:
    """In a process of its own: run once, then print the seconds and the peak in MB."""
    if way in ("bundle", "database", "fill"):
        set_up()
    if way == "fill":
        fill_database(folder)
        return
    if way == "pandas":
        import pandas  # noqa: F401 - loading the program is not measured
    else:
        import polars  # noqa: F401
    begun = time.perf_counter()
    WAYS[way](folder)
    taken = time.perf_counter() - begun
    peak = sum(
        resource.getrusage(who).ru_maxrss
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    print(json.dumps({"seconds": taken, "megabytes": peak / 1024}))


def measured(way: str, folder: Path, runs: int) -> tuple[float, float]:
    """Medians of the seconds and of the peak memory."""
    results = [json.loads(in_a_process(way, folder)) for _run in range(runs)]
    return (
        statistics.median(result["seconds"] for result in results),
        statistics.median(result["megabytes"] for result in results),
    )


def in_a_process(way: str, folder: Path) -> str:
    environment = os.environ | {
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "DATA_DIR": str(folder / "data"),
        "SECRET_KEY": secrets.token_urlsafe(50),
        "PUBLIC_URL": "http://127.0.0.1:8000",
    }
    environment.pop("DATABASE_URL", None)
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.work_log", "--one", way, "--folder", str(folder)],
        env=environment,
        check=True,
        capture_output=True,
        text=True,
    )
    return done.stdout


def compare(folder: Path, runs: int) -> dict[str, tuple[float, float]]:
    in_a_process("fill", folder)
    measurements = {way: measured(way, folder, runs) for way in WAYS}
    seconds, megabytes = measurements["pandas"]
    fast_seconds, fast_megabytes = measurements["polars"]
    print("              seconds  ÷ pandas  ÷ polars    peak MB  ÷ pandas  ÷ polars")
    for way, (time_s, peak) in measurements.items():
        print(
            f"{way:12s} {time_s:8.2f}  {time_s / seconds:8.2f}  {time_s / fast_seconds:8.2f}   "
            f"{peak:8.0f}  {peak / megabytes:8.2f}  {peak / fast_megabytes:8.2f}"
        )
    same = (folder / "findings_bundle.csv").read_bytes() == (
        folder / "findings_database.csv"
    ).read_bytes()
    print(f"bundle and database find the same: {'yes' if same else 'NO'}")
    return measurements


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--people", type=int, default=2_000)
    parser.add_argument("--scopes", type=int, default=20)
    parser.add_argument("--certificates", type=int, default=20_000)
    parser.add_argument("--practice", type=int, default=200_000)
    parser.add_argument("--vision-tests", type=int, default=8_000)
    parser.add_argument("--log", type=int, default=200_000)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--one", help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.one:
        run_one(arguments.one, arguments.folder)
        return
    sizes = {
        name: getattr(arguments, name)
        for name in ("people", "scopes", "certificates", "practice", "vision_tests", "log")
    }
    with tempfile.TemporaryDirectory() as folder:
        large = Path(folder) / "large"
        register_data.write(large, **sizes)
        print(", ".join(f"{name.replace('_', ' ')} {size:,}" for name, size in sizes.items()))
        measurements = compare(large, arguments.runs)
        print(f"\nThe same register and a log of {arguments.log // SMALLER:,} rows:")
        rows = (large / "log.csv").read_text().split("\n")[: arguments.log // SMALLER + 1]
        (large / "log.csv").write_text("\n".join(rows) + "\n")
        for way in ("bundle", "database"):
            few, _peak = measured(way, large, arguments.runs)
            grown = measurements[way][0] / few
            print(
                f"{way:12s} {few:8.2f} s; {SMALLER} times the rows take {grown:.1f} times as long"
            )


if __name__ == "__main__":
    main()
