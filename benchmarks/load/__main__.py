"""Two hundred people at once on the deployed form, beside a bare Django view in the same run.

    .venv/bin/python -m benchmarks.load [--people 10000] [--judgements 1000000] [--users 200]
        [--seconds 300] [--rows 1000000] [--kills] [--workers 4] [--without-proxy] [--folder DIR]

PostgreSQL (with fsync), Redis, gunicorn, both workers, beat and Caddy in front are started here as
plain processes, by the arguments that compose and systemd have (`benchmarks.load.deployed`).
Everybody comes by TLS through Caddy, also to the bare view; Caddy's share is told. The plant is
filled once for each size and kept in the folder as a template; every run begins from a copy.
locust is a process of its own and shares the machine: its share of the processors is told.

Required: no error, and the p95 of every page at most 6 times that of the bare view. With `--kills`
web, worker, Redis and PostgreSQL are killed (SIGKILL) in the middle and started again after a few
seconds: then nothing acknowledged may be lost or doubled, and errors may come only while something
was down and for the grace after it. Nothing is asserted about time; what is lost ends it with 1.
"""

import argparse
import contextlib
import hashlib
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil

from benchmarks.load import report
from benchmarks.load.deployed import CADDY, DATABASE, POSTGRES, REDIS, TOP, WEB, Deployed
from operations.domain.site_processes import SERVED_BY

DEFAULT_FOLDER = Path("/var/tmp/jointworthy-load")  # noqa: S108 - kept from one run to the next
PHOTOS = 2_000
PHOTOS_A_BOARD = 4
BOARDS_A_CLASS = 8
WARM_UP_S = 20  # People come in one after another; what is asked meanwhile is not counted.
DOWN_S = 5.0
GRACE_S = 5.0
"""A browser's request that began while something was down may wait as long for its retry."""
LOCUST = "locust"
PEERS = 6
MIX = {"checks": 0.50, "cards": 0.28, "registers": 0.07, "instructors": 0.15}
"""Of a hundred people at once: kiosks at the line, phones, quality managers, classes."""
KILLED = (WEB, "worker", REDIS, POSTGRES)


def state_of_the_plant(arguments: argparse.Namespace) -> str:
    """The template's name: other sizes or another way to fill make another.

    Its copy is migrated to the tables of this version, as a site's database is.
    """
    digest = hashlib.sha256()
    for file in (Path(__file__).with_name("data.py"), TOP / "benchmarks/registers.py"):
        digest.update(file.read_bytes())
    return f"plant_{arguments.people}_{arguments.judgements}_{digest.hexdigest()[:8]}"


def fill_once(site: Deployed, arguments: argparse.Namespace) -> None:
    """A database and a folder of files as the template has them."""
    name = state_of_the_plant(arguments)
    kept = site.folder / name
    there = site.sql("SELECT datname FROM pg_database").split()
    if not kept.is_dir() or name not in there:
        begun = time.monotonic()
        print(f"Filling {name}, once:", flush=True)
        _empty(site)
        site.prepare()
        sizes = ("--people", str(arguments.people), "--judgements", str(arguments.judgements))
        site.manage("-m", "benchmarks.load.data", "fill", *sizes, "--photos", str(PHOTOS))
        site.sql(f"DROP DATABASE IF EXISTS {name}")
        site.sql(f"ALTER DATABASE {DATABASE} RENAME TO {name}")
        shutil.rmtree(kept, ignore_errors=True)
        shutil.copytree(site.data, kept)
        print(f"  in all {time.monotonic() - begun:.0f} s", flush=True)
    _empty(site, template=name)
    shutil.rmtree(site.data)
    shutil.copytree(kept, site.data)


def _empty(site: Deployed, template: str = "template1") -> None:
    site.sql(f"DROP DATABASE IF EXISTS {DATABASE} WITH (FORCE)")
    site.sql(f"CREATE DATABASE {DATABASE} TEMPLATE {template}")


def begin_the_morning(site: Deployed, arguments: argparse.Namespace) -> None:
    numbers = {kind: max(1, round(arguments.users * share)) for kind, share in MIX.items()}
    options = [word for kind, n in numbers.items() for word in (f"--{kind}", str(n))]
    options += ["--boards-a-class", str(BOARDS_A_CLASS), "--photos-a-board", str(PHOTOS_A_BOARD)]
    site.manage("-m", "benchmarks.load.data", "morning", "--folder", str(site.folder), *options)
    log = ("--file", str(site.folder / "log.csv"), "--rows", str(arguments.rows))
    site.manage("-m", "benchmarks.load.data", "work-log", *log)
    for name in ("requests.tsv", "acts.jsonl"):
        (site.folder / name).unlink(missing_ok=True)


def start_people(site: Deployed, arguments: argparse.Namespace) -> None:
    people = arguments.users + PEERS + 1
    site.run(
        LOCUST,
        *(str(Path(sys.executable).parent / "locust"), "-f", "benchmarks/load/morning.py"),
        *("--headless", "--only-summary", "--host", site.address, "--stop-timeout", "30"),
        *("-u", str(people), "-r", str(max(1, people // WARM_UP_S))),
        *("-t", f"{arguments.seconds + WARM_UP_S}s"),
        environment=site.environment
        | {"LOAD_FOLDER": str(site.folder), "LOAD_HASTE": str(arguments.haste)},
    )


class Processors:
    """Seconds of processor that each process uses, with those that it started."""

    def __init__(self, site: Deployed) -> None:
        self.site, self.begun = site, time.monotonic()
        self.before = self._now()
        self.used: dict[str, float] = {}
        self.took_s = 0.0

    def look(self) -> None:
        """Note what was used until now: of a process that has ended nothing is known any more."""
        self.took_s = time.monotonic() - self.begun
        self.used |= {name: used - self.before.get(name, 0.0) for name, used in self._now().items()}

    def _now(self) -> dict[str, float]:
        used = {}
        for name, process in self.site.running.items():
            with contextlib.suppress(psutil.NoSuchProcess):
                one = psutil.Process(process.pid)
                # Of a child that has ended, its parent knows.
                used[name] = sum(
                    sum(each.cpu_times()[:4]) for each in (one, *one.children(recursive=True))
                )
        return used


def keep_running(site: Deployed) -> None:
    """Start again what ended by itself, as systemd and compose do, and say so."""
    for name in SERVED_BY:
        process = site.running.get(name)
        if process is not None and process.poll() is not None:
            print(f"  {name} ended by itself ({process.returncode}), and was started again.")
            site.start(name)


def through_the_morning(
    site: Deployed, arguments: argparse.Namespace, processors: Processors
) -> list[report.Outage]:
    """Wait until the people have gone; sweep on the way, and kill if asked to."""
    begun, outages = time.monotonic(), []
    whole = arguments.seconds + WARM_UP_S
    due = [(whole * 0.3, "sweep")]
    if arguments.kills:
        parts = len(KILLED) + 1
        due += [(WARM_UP_S + arguments.seconds * (n + 1) / parts, k) for n, k in enumerate(KILLED)]
    due.sort()
    while site.running[LOCUST].poll() is None:
        time.sleep(0.5)
        processors.look()
        if due and time.monotonic() - begun >= due[0][0]:
            what = due.pop(0)[1]
            if what == "sweep":
                site.manage("-m", "celery", "-A", "config", "call", "reminders.sweep")
                continue
            killed_at = time.time()
            site.kill(what)
            time.sleep(DOWN_S)
            site.start(what)
            outages.append(report.Outage(what, killed_at, time.time()))
            print(f"  {what} was down for {time.time() - killed_at:.1f} s", flush=True)
        keep_running(site)
    return outages


def tell(
    site: Deployed, arguments: argparse.Namespace, outages: list[report.Outage], used: str
) -> int:
    requests = report.read_requests(site.folder / "requests.tsv")
    first = min(asked.began_at for asked in requests)
    counted = [asked for asked in requests if asked.began_at >= first + WARM_UP_S]
    lines = report.lines_of(counted)
    a_second = sum(line.a_second for line in lines)
    print(
        f"\n{arguments.users} people and {PEERS} peers for {arguments.seconds} s "
        f"{'through Caddy' if site.proxy else 'without a proxy'}, "
        f"{len(counted):,} requests, {a_second:.1f}/s; {arguments.people:,} people and "
        f"{arguments.judgements:,} judgements in the database\n"
    )
    print(report.table(lines))
    if not outages:
        print(f"\nOf {psutil.cpu_count()} processors:\n{used}")
        slow = report.too_slow(lines)
        print(
            f"\nBeyond {report.MOST_TIMES_THE_BARE:g} times the bare view's p95: "
            + (", ".join(slow) or "no page")
        )
    for said in report.most_said(requests):
        print(f"  {said}")
    unexcused = report.unexcused(requests, outages, GRACE_S)
    print(
        f"Errors: {sum(bool(asked.error) for asked in requests)}; outside of what was down "
        f"and {GRACE_S:g} s after: {len(unexcused)}"
    )
    for said in report.most_said(unexcused):
        print(f"  {said}")
    return len(unexcused)


def hold_against_the_database(site: Deployed) -> int:
    print("\nWhat was acknowledged, held against the database and the files:")
    checked = subprocess.run(
        [sys.executable, "-m", "benchmarks.load.acknowledged", str(site.folder / "acts.jsonl")],
        env=site.environment,
        cwd=TOP,
        check=False,
    )
    return checked.returncode


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--people", type=int, default=10_000)
    parser.add_argument("--judgements", type=int, default=1_000_000)
    parser.add_argument("--users", type=int, default=200)
    parser.add_argument("--seconds", type=int, default=300)
    parser.add_argument("--rows", type=int, default=1_000_000, help="of the work log")
    parser.add_argument("--kills", action="store_true", help="kill each server in the middle")
    parser.add_argument("--workers", default="4", help="web processes, as WEB_WORKERS")
    parser.add_argument(
        "--haste", type=float, default=1, help="how many times as fast instructors judge"
    )
    parser.add_argument("--without-proxy", action="store_true", help="no Caddy and TLS in front")
    parser.add_argument("--folder", type=Path, default=DEFAULT_FOLDER)
    arguments = parser.parse_args()
    # Whoever ends this ends what it has started, too.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    site = Deployed(
        arguments.folder, {"WEB_WORKERS": arguments.workers}, proxy=not arguments.without_proxy
    )
    try:
        site.start(POSTGRES)
        site.start(REDIS)
        fill_once(site, arguments)
        site.prepare()
        begin_the_morning(site, arguments)
        for name in (*SERVED_BY, *([CADDY] if site.proxy else [])):
            site.start(name)
        start_people(site, arguments)
        processors = Processors(site)
        outages = through_the_morning(site, arguments, processors)
        used = report.shares(processors.used, processors.took_s, psutil.cpu_count() or 1)
        failed = tell(site, arguments, outages, used)
        failed += hold_against_the_database(site)
    finally:
        site.stop_all()
    sys.exit(bool(failed))


if __name__ == "__main__":
    main()
