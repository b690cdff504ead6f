"""The load test's report: percentiles, pages beyond the bare view, errors that are excused."""

import pytest

from benchmarks.load import report
from benchmarks.load.report import Asked, Outage


@pytest.mark.parametrize(
    ("percent", "found"),
    [(50, 5.0), (95, 10.0), (99, 10.0), (10, 1.0), (1, 1.0)],
)
def test_a_percentile_is_the_least_value_that_so_many_do_not_exceed(percent, found):
    assert report.percentile([float(n) for n in range(1, 11)], percent) == found


def test_each_page_stands_beside_the_bare_view():
    requests = [Asked(n / 10, 10, report.BARE) for n in range(40)]
    requests += [Asked(n / 10, 50, "my card") for n in range(40)]
    requests += [Asked(n / 10, 61, "register") for n in range(40)]
    requests += [Asked(0, 900, "person")]  # Once: of that a p95 says nothing.
    requests += [Asked(0, 900, page) for page in report.FILES for _n in range(40)]
    lines = report.lines_of(requests)
    times = {line.page: line.times_bare for line in lines}
    assert lines[0].page == report.BARE
    assert (times["my card"], times["register"]) == (5.0, 6.1)
    assert report.too_slow(lines) == ["register"]


def test_a_request_that_failed_is_an_error_and_no_time():
    requests = [
        Asked(0, 10, report.BARE),
        Asked(1, 10, "my card"),
        Asked(1, 20_000, "my card", "0"),
    ]
    card = next(line for line in report.lines_of(requests) if line.page == "my card")
    assert (card.count, card.errors, card.p99) == (2, 1, 10)


@pytest.mark.parametrize(
    ("began_at", "took_ms", "is_excused"),
    [
        pytest.param(99.0, 500, False, id="over before it was down"),
        pytest.param(99.0, 1_000, True, id="under way when it was killed"),
        pytest.param(103.0, 10, True, id="begun while it was down"),
        pytest.param(107.0, 10, True, id="begun within the grace"),
        pytest.param(107.1, 10, False, id="begun after the grace"),
    ],
)
def test_errors_are_excused_while_something_was_down(began_at, took_ms, is_excused):
    failed = Asked(began_at, took_ms, "judge", "0")
    left = report.unexcused([failed], [Outage("redis", 100.0, 105.0)], grace_s=2.0)
    assert (left == []) is is_excused


def test_what_clients_write_is_read_back(tmp_path):
    file = tmp_path / "requests.tsv"
    file.write_text('12.500\t8.0\tmy card\t\n13.000\t2.5\tjudge\t500 "what" came\n')
    assert report.read_requests(file) == [
        Asked(12.5, 8, "my card"),
        Asked(13, 2.5, "judge", '500 "what" came'),
    ]
