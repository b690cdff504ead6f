"""Whoever has spans already counts as changed now: a program that begins to poll is told of all."""

from django.db import migrations
from django.utils import timezone

BATCH = 1000


def fill(apps, schema_editor):
    """Add what is missing; safe to run again, since a pair has one row a site."""
    span = apps.get_model("certification", "StandingSpan")
    change = apps.get_model("certification", "StandingChange")
    pairs = (
        span.objects.order_by("person", "scope")
        .values_list("person_id", "scope_id", "person__site_id")
        .distinct()
    )
    now = timezone.now()
    change.objects.bulk_create(
        [
            change(person_id=person, scope_id=scope, site_id=site, changed_at=now)
            for person, scope, site in pairs
        ],
        batch_size=BATCH,
        ignore_conflicts=True,
    )


class Migration(migrations.Migration):
    dependencies = [("certification", "0010_api_tokens_and_changes")]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
