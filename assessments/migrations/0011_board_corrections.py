import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("assessments", "0010_criteria_in_the_browser"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="board",
            name="cancelled_at",
            field=models.DateTimeField(blank=True, null=True, verbose_name="cancelled"),
        ),
        migrations.CreateModel(
            name="BoardCancellation",
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
                ("reason", models.CharField(max_length=400, verbose_name="reason")),
                (
                    "board",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="cancellation",
                        to="assessments.board",
                    ),
                ),
                (
                    "cancelled_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="PurposeCorrection",
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
                (
                    "before",
                    models.CharField(
                        choices=[
                            ("practice", "practice"),
                            ("qualification", "qualification"),
                            ("requalification", "re-qualification"),
                            ("production", "production sample"),
                        ],
                        max_length=16,
                        verbose_name="purpose before",
                    ),
                ),
                (
                    "after",
                    models.CharField(
                        choices=[
                            ("practice", "practice"),
                            ("qualification", "qualification"),
                            ("requalification", "re-qualification"),
                            ("production", "production sample"),
                        ],
                        max_length=16,
                        verbose_name="purpose",
                    ),
                ),
                ("reason", models.CharField(max_length=400, verbose_name="reason")),
                (
                    "board",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="purpose_corrections",
                        to="assessments.board",
                    ),
                ),
                (
                    "corrected_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["id"],
            },
        ),
    ]
