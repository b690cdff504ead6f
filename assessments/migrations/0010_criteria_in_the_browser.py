"""What a criteria set and a criterion say beside their limits, now that sites write their own."""

import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


def person(**options):
    return models.ForeignKey(
        blank=options.pop("blank", True),
        null=True,
        on_delete=django.db.models.deletion.PROTECT,
        related_name="+",
        to=settings.AUTH_USER_MODEL,
    )


class Migration(migrations.Migration):
    dependencies = [
        ("assessments", "0009_cannot_tell"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            "criteriaset",
            "document",
            models.CharField("document", blank=True, default="", max_length=160),
            preserve_default=False,
        ),
        migrations.AddField(
            "criteriaset",
            "product_class",
            models.CharField("product class", blank=True, default="", max_length=80),
            preserve_default=False,
        ),
        migrations.AddField(
            "criteriaset",
            "by_default",
            models.BooleanField(
                "judges every board whose exercise names no other set", default=True
            ),
        ),
        migrations.AddField(
            "criteriaset",
            "begun_from",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="revised_by",
                to="assessments.criteriaset",
            ),
        ),
        migrations.AddField(
            "criteriaset",
            "dropped",
            models.JSONField(
                "criteria taken out of the draft",
                blank=True,
                default=dict,
                help_text="Why, by code; what was new in the draft stands here too.",
            ),
        ),
        migrations.AddField(
            "criteriaset",
            "publishing_reason",
            models.CharField("why it was published", blank=True, default="", max_length=400),
            preserve_default=False,
        ),
        migrations.AddField(
            "criterion",
            "more_reject_drawings",
            models.JSONField("further drawings, not acceptable", blank=True, default=list),
        ),
        migrations.AddField(
            "criterion",
            "edition",
            models.CharField("edition", blank=True, default="", max_length=60),
            preserve_default=False,
        ),
        migrations.AddField(
            "criterion",
            "also_confirmed_at",
            models.DateTimeField("confirmed by a second person", blank=True, null=True),
        ),
        migrations.AddField("criterion", "also_confirmed_by", person()),
        migrations.AddField(
            "criterion",
            "changed_at",
            models.DateTimeField("changed in the draft", blank=True, null=True),
        ),
        migrations.AddField("criterion", "changed_by", person()),
        migrations.CreateModel(
            name="CriterionDrawing",
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
                ("sha256", models.CharField(max_length=64, unique=True)),
                (
                    "kind",
                    models.CharField(
                        choices=[("image/svg+xml", "SVG"), ("image/png", "PNG")], max_length=16
                    ),
                ),
                ("title", models.CharField(max_length=120, verbose_name="what it shows")),
                ("data", models.BinaryField()),
                ("added_by", person(blank=False)),
            ],
            options={"ordering": ["title", "id"]},
        ),
        migrations.CreateModel(
            name="ExerciseCriteria",
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
                    "exercise_code",
                    models.CharField(max_length=24, unique=True, verbose_name="exercise"),
                ),
                ("title", models.CharField(max_length=120, verbose_name="criteria set")),
                ("chosen_by", person(blank=False)),
            ],
            options={"abstract": False},
        ),
    ]
