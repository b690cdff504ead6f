from django.db import migrations
from django.db.models import Min, OuterRef, Subquery


def fill(apps, schema_editor):
    """Write the first of its ends beside each span; rebuilding the spans does the same."""
    spans = apps.get_model("certification", "StandingSpan")._default_manager
    ends = apps.get_model("certification", "StandingEnd")._default_manager
    first = (
        ends.filter(span=OuterRef("pk")).order_by().values("span").annotate(first=Min("last_day"))
    )
    spans.filter(ends_on__isnull=True).update(ends_on=Subquery(first.values("first")))


class Migration(migrations.Migration):
    dependencies = [
        ("certification", "0006_span_ends_on"),
    ]

    operations = [
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
