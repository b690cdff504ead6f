"""The main job where every request goes to the other of two machines than the one before.

All the rest of these tests goes there by `make machines`.
"""

import pytest
from django.db import connection

from tests.browser.test_main_job import (  # noqa: F401 - collected here once more
    test_a_trainee_becomes_certified_and_is_reminded_in_time,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.several_machines,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor == "sqlite", reason="several machines need PostgreSQL"),
]


@pytest.fixture
def live_server(two_machines):
    before = len(two_machines.asked)
    yield two_machines
    assert len({port for port, _line in two_machines.asked[before:]}) == 2
