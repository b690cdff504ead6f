from django.db import migrations
from django.db.models import F


def fill(apps, schema_editor):
    """Until now a restriction changed with the certificate alone, and so never within a span."""
    for name in ("StandingSpan", "KnownSpan"):
        spans = apps.get_model("certification", name).objects.filter(stands_since__isnull=True)
        spans.update(stands_since=F("first_day"))


class Migration(migrations.Migration):
    dependencies = [("certification", "0003_restricting_events")]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
