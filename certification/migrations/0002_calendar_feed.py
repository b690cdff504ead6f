import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("certification", "0001_initial"),
        ("training", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="CalendarFeed",
            fields=[
                (
                    "person",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="calendar_feed",
                        serialize=False,
                        to="training.person",
                    ),
                ),
                ("secret_sha256", models.CharField(max_length=64, unique=True)),
                (
                    "in_full",
                    models.BooleanField(default=False, verbose_name="says what kind of end it is"),
                ),
                ("made_at", models.DateTimeField(verbose_name="made")),
                (
                    "last_read_on",
                    models.DateField(blank=True, null=True, verbose_name="last fetched"),
                ),
            ],
        ),
    ]
