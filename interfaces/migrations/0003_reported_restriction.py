from django.db import migrations, models


class Migration(migrations.Migration):
    """What a web hook was told of a restriction, so that a change of it is news."""

    dependencies = [("interfaces", "0002_initial")]

    operations = [
        migrations.AddField(
            "reportedstanding",
            "restriction",
            models.CharField(blank=True, default="", max_length=802),
        ),
    ]
