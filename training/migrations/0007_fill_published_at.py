from django.db import migrations
from django.db.models import F


def fill(apps, schema_editor):
    """Everything that was there was in use: it is published since it was recorded."""
    for name in ("Exercise", "CourseRevision"):
        rows = apps.get_model("training", name).objects.filter(published_at__isnull=True)
        rows.update(published_at=F("recorded_at"))


class Migration(migrations.Migration):
    dependencies = [("training", "0006_exercises_and_courses_drafted")]

    # Going back, the column goes with what it says.
    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
