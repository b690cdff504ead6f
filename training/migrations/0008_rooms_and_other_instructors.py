import django.db.models.deletion
import django.db.models.functions.text
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("people", "0009_site_proposal_days"),
        ("training", "0007_fill_published_at"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Room",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                ("name", models.CharField(max_length=80, verbose_name="name")),
                ("benches", models.PositiveSmallIntegerField(verbose_name="benches")),
                (
                    "closed_on",
                    models.DateField(
                        blank=True,
                        null=True,
                        verbose_name="closed from",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="rooms",
                        to="people.site",
                        verbose_name="site",
                    ),
                ),
            ],
            options={
                "ordering": ["site__name", "name"],
            },
        ),
        migrations.AddField(
            model_name="classsession",
            name="held_in",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="sessions",
                to="training.room",
            ),
        ),
        migrations.CreateModel(
            name="OtherInstructor",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "instructor",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sessions_helped",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "session",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="other_instructors",
                        to="training.classsession",
                    ),
                ),
            ],
            options={
                "ordering": ["instructor__person__full_name"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("session", "instructor"), name="other_instructor_once_in_a_class"
                    )
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="room",
            constraint=models.UniqueConstraint(
                models.F("site"),
                django.db.models.functions.text.Lower("name"),
                name="room_name_once_at_a_site",
            ),
        ),
        migrations.AddConstraint(
            model_name="room",
            constraint=models.CheckConstraint(
                condition=models.Q(("benches__gte", 1)), name="room_has_a_bench"
            ),
        ),
    ]
