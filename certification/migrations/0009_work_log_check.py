import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

import certification.models.work_log


class Migration(migrations.Migration):
    dependencies = [
        ("certification", "0008_web_hooks"),
        ("training", "0002_practice_by_reference"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="WorkLogCheck",
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
                    "file",
                    models.FileField(
                        max_length=120,
                        upload_to=certification.models.work_log.log_path,
                        verbose_name="work log",
                    ),
                ),
                ("file_name", models.CharField(max_length=200, verbose_name="file name")),
                ("size_bytes", models.PositiveBigIntegerField()),
                ("sha256", models.CharField(max_length=64)),
                (
                    "known_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="as known at"),
                ),
                (
                    "as_known_then",
                    models.BooleanField(
                        default=False, verbose_name="each row as known on its own day"
                    ),
                ),
                (
                    "counts_as_practice",
                    models.BooleanField(
                        default=False, verbose_name="the log’s rows count as practice"
                    ),
                ),
                ("zone", models.CharField(max_length=64, verbose_name="clock")),
                ("claim", models.CharField(blank=True, max_length=40)),
                ("claimed_at", models.DateTimeField(blank=True, null=True)),
                ("attempts", models.PositiveSmallIntegerField(default=0)),
                (
                    "stage",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("log", "reading the log"),
                            ("register", "reading the register"),
                            ("spans", "reading how everybody stands"),
                            ("standings", "working out how everybody stood"),
                            ("judge", "judging the rows"),
                            ("write", "writing the findings"),
                        ],
                        max_length=12,
                    ),
                ),
                ("done", models.PositiveIntegerField(default=0)),
                ("total", models.PositiveIntegerField(default=0)),
                (
                    "finished_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="finished"),
                ),
                ("failure", models.CharField(blank=True, max_length=400, verbose_name="why not")),
                ("rows", models.PositiveIntegerField(default=0, verbose_name="rows judged")),
                (
                    "bad_rows",
                    models.PositiveIntegerField(
                        default=0, verbose_name="rows that could not be judged"
                    ),
                ),
                ("counts", models.JSONField(default=dict, verbose_name="rows of each standing")),
                ("people_concerned", models.PositiveIntegerField(default=0)),
                ("days_concerned", models.PositiveIntegerField(default=0)),
                (
                    "people",
                    models.JSONField(
                        default=list, verbose_name="people with most rows not certified"
                    ),
                ),
                (
                    "problems",
                    models.JSONField(default=list, verbose_name="what could not be judged"),
                ),
                ("headings", models.JSONField(default=list)),
                ("columns", models.JSONField(default=list)),
                (
                    "findings",
                    models.FileField(
                        blank=True, max_length=120, upload_to=certification.models.work_log.log_path
                    ),
                ),
                (
                    "asked_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="work_log_checks",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "sites",
                    models.ManyToManyField(related_name="work_log_checks", to="training.site"),
                ),
            ],
            options={
                "ordering": ["-recorded_at", "-id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("known_at__isnull", True), ("as_known_then", False), _connector="OR"
                        ),
                        name="work_log_check_asks_one_time",
                    )
                ],
            },
        ),
    ]
