"""Spans that were stored before they said since when all but the restriction is as it is."""

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from certification.models import StandingSpan
from records.models import append_only
from tests.factories import make_certificate, make_person, make_scope

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.each_database]

BEFORE = [("certification", "0003_restricting_events"), ("interfaces", "0002_initial")]


def migrate(targets):
    executor = MigrationExecutor(connection)
    executor.migrate(targets)
    return executor.loader.project_state(targets).apps


@pytest.fixture
def leaves(settings):
    """The present state, come back to whatever the test does.

    The tables of the tests are made from the models, so the steps are said to have been made.
    """
    settings.MIGRATION_MODULES = {}
    call_command("migrate", fake=True, verbosity=0)
    present = MigrationExecutor(connection).loader.graph.leaf_nodes()
    # As the command does: a trigger names columns that a step takes away.
    append_only.remove(connection)
    yield present
    migrate(present)
    append_only.install(connection)


def test_they_stand_since_their_first_day(leaves):
    make_certificate(make_person(), make_scope())
    first_days = list(StandingSpan.objects.order_by("pk").values_list("pk", "first_day"))
    assert first_days

    spans = migrate(BEFORE).get_model("certification", "StandingSpan").objects
    spans.update(stands_since=None)
    migrate(leaves)

    assert list(StandingSpan.objects.order_by("pk").values_list("pk", "stands_since")) == first_days
