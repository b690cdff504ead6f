import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("training", "0002_exercise_alloy")]

    operations = [
        migrations.CreateModel(
            name="SessionDay",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("day", models.DateField(verbose_name="day")),
                (
                    "session",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="days",
                        to="training.classsession",
                    ),
                ),
            ],
            options={
                "ordering": ["day"],
                "constraints": [
                    models.UniqueConstraint(fields=("session", "day"), name="class_held_once_a_day")
                ],
            },
        ),
    ]
