"""What the clients wrote down, as a table: each page beside the bare view of the same run."""

import csv
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

BARE = "bare view"
PEERS = (BARE, "view behind middleware")
FILES = ("photograph, sent", "work log, sent")
"""Requests that bring megabytes: told beside the pages, and held to nothing."""
MOST_TIMES_THE_BARE = 6.0
FEW = 20  # Of so few a p95 says nothing.


@dataclass(frozen=True, slots=True)
class Asked:
    """One request, as its client saw it."""

    began_at: float  # seconds since 1970
    took_ms: float
    page: str
    error: str = ""

    @property
    def ended_at(self) -> float:
        return self.began_at + self.took_ms / 1000


@dataclass(frozen=True, slots=True)
class Line:
    """One page of the report."""

    page: str
    count: int
    a_second: float
    p50: float
    p95: float
    p99: float
    times_bare: float  # p95 over the bare view's
    errors: int


@dataclass(frozen=True, slots=True)
class Outage:
    """The time from which a process was killed until it was ready again."""

    name: str
    began_at: float
    ended_at: float

    def covers(self, asked: Asked, grace_s: float) -> bool:
        """Whether a request was under way at any time of it, or so soon after."""
        return asked.began_at <= self.ended_at + grace_s and asked.ended_at >= self.began_at


def read_requests(file: Path) -> list[Asked]:
    with file.open(newline="") as stream:
        rows = csv.reader(stream, delimiter="\t", quoting=csv.QUOTE_NONE)
        return [Asked(float(at), float(ms), page, why) for at, ms, page, why in rows]


def percentile(times: Sequence[float], percent: float) -> float:
    """The least value that so many of a hundred do not exceed (nearest rank); times are sorted."""
    rank = -(-len(times) * percent // 100)
    return times[max(0, int(rank) - 1)]


def lines_of(requests: Iterable[Asked]) -> list[Line]:
    """A line for each page, the peers first; what failed counts as an error and not as a time."""
    by_page: dict[str, list[Asked]] = defaultdict(list)
    for asked in requests:
        by_page[asked.page].append(asked)
    everything = [asked for page in by_page.values() for asked in page]
    if not everything:
        return []
    took_s = max(asked.ended_at for asked in everything) - min(
        asked.began_at for asked in everything
    )
    good = {
        page: sorted(asked.took_ms for asked in all_of_it if not asked.error)
        for page, all_of_it in by_page.items()
    }
    bare = percentile(good[BARE], 95) if good.get(BARE) else float("nan")
    lines = []
    for page in sorted(by_page, key=lambda page: (page not in PEERS, page in FILES, page)):
        times = good[page] or [float("nan")]
        p50, p95, p99 = (percentile(times, percent) for percent in (50, 95, 99))
        count = len(by_page[page])
        errors = count - len(good[page])
        lines.append(Line(page, count, count / took_s, p50, p95, p99, p95 / bare, errors))
    return lines


def too_slow(lines: Iterable[Line]) -> list[str]:
    """The pages, asked often enough to say, that are beyond what is required."""
    return [
        line.page
        for line in lines
        if line.page not in (*PEERS, *FILES)
        and line.count >= FEW
        and line.times_bare > MOST_TIMES_THE_BARE
    ]


def unexcused(requests: Iterable[Asked], outages: Sequence[Outage], grace_s: float) -> list[Asked]:
    """Errors of requests that were not under way while something was down, nor soon after."""
    return [
        asked
        for asked in requests
        if asked.error and not any(outage.covers(asked, grace_s) for outage in outages)
    ]


def table(lines: Iterable[Line]) -> str:
    head = (
        f"{'page':24}  {'asked':>6}  {'/s':>5}  {'p50':>6}  {'p95':>6}  {'p99':>6}  times  errors"
    )
    return "\n".join(
        [
            head + "   (ms; times: p95 over the bare view's)",
            *(
                f"{line.page:24}  {line.count:6}  {line.a_second:5.1f}  {line.p50:6.0f}  "
                f"{line.p95:6.0f}  {line.p99:6.0f}  {line.times_bare:5.1f}  {line.errors:6}"
                for line in lines
            ),
        ]
    )


def most_said(requests: Iterable[Asked]) -> list[str]:
    """What was said most often of errors, with how often."""
    said = Counter((asked.page, asked.error) for asked in requests if asked.error)
    return [f"{times} × {page}: {error}" for (page, error), times in said.most_common(10)]


def shares(used_s: Mapping[str, float], took_s: float, cores: int) -> str:
    """Seconds of processor by process, as a share of all that the machine had."""
    of_all = took_s * cores
    return "\n".join(
        f"{name:10}  {seconds:7.1f} s  {100 * seconds / of_all:5.1f} %"
        for name, seconds in sorted(used_s.items(), key=lambda pair: -pair[1])
    )
