"""Of the two runs of `make test`, on SQLite and on PostgreSQL, none leaves a test to nobody."""

import re
from itertools import product

from django.conf import settings

MARKS = (
    "database",
    "each_database",
    "browser",
    "services",
    "slow",
    "one_database",
    "several_machines",
)


def test_each_test_is_run_by_one_half_at_least():
    makefile = (settings.BASE_DIR / "Makefile").read_text()
    halves = re.findall(r'^ON_(?:SQLITE|POSTGRES) = -m "(.+)"$', makefile, re.MULTILINE)
    assert len(halves) == 2
    assert all(makefile.count(f"$(ON_{half})") == 1 for half in ("SQLITE", "POSTGRES"))

    for chosen in product((True, False), repeat=len(MARKS)):
        marks = dict(zip(MARKS, chosen, strict=True))
        # What pytest takes after -m is Python, too.
        assert any(eval(half, {}, marks) for half in halves), marks
