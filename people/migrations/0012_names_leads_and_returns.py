import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("people", "0011_sign_in_codes"),
    ]

    operations = [
        migrations.CreateModel(
            name="LineLeadChange",
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
                ("from_day", models.DateField(verbose_name="from")),
                ("reason", models.CharField(blank=True, max_length=400, verbose_name="reason")),
                (
                    "after",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="people.person",
                    ),
                ),
                (
                    "before",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="people.person",
                    ),
                ),
                (
                    "entered_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="line_lead_changes",
                        to="people.person",
                    ),
                ),
            ],
            options={
                "ordering": ["from_day", "pk"],
            },
        ),
        migrations.CreateModel(
            name="NameChange",
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
                ("before", models.CharField(max_length=120)),
                ("after", models.CharField(max_length=120, verbose_name="full name")),
                ("from_day", models.DateField(verbose_name="from")),
                ("reason", models.CharField(max_length=400, verbose_name="reason")),
                (
                    "entered_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="name_changes",
                        to="people.person",
                    ),
                ),
            ],
            options={
                "ordering": ["from_day", "pk"],
            },
        ),
        migrations.CreateModel(
            name="Return",
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
                ("left_on", models.DateField(verbose_name="left on")),
                ("returned_on", models.DateField(verbose_name="back on")),
                ("reason", models.CharField(max_length=400, verbose_name="reason")),
                (
                    "entered_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="returns",
                        to="people.person",
                    ),
                ),
            ],
            options={
                "ordering": ["returned_on", "pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("returned_on__gt", models.F("left_on"))),
                        name="return_after_leaving",
                    )
                ],
            },
        ),
    ]
