from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("certification", "0002_calendar_feed"),
    ]

    operations = [
        migrations.CreateModel(
            name="Heartbeat",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("worker", "worker"),
                            ("clock", "clock"),
                            ("sweep", "sweep"),
                            ("sending", "sending"),
                        ],
                        max_length=12,
                        verbose_name="kind",
                    ),
                ),
                (
                    "name",
                    models.CharField(
                        blank=True,
                        help_text="Of the process; empty for work.",
                        max_length=120,
                        verbose_name="name",
                    ),
                ),
                ("at", models.DateTimeField(verbose_name="seen")),
            ],
            options={
                "ordering": ["kind", "name"],
                "constraints": [
                    models.UniqueConstraint(fields=("kind", "name"), name="heartbeat_one_a_name")
                ],
            },
        ),
    ]
