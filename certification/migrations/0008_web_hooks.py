import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

import certification.models.hooks


class Migration(migrations.Migration):
    dependencies = [
        ("certification", "0007_fill_span_ends_on"),
        ("training", "0003_site_contact"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="WebHook",
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
                ("address", models.CharField(max_length=400, verbose_name="address")),
                (
                    "secret",
                    models.CharField(
                        default=certification.models.hooks.new_secret, editable=False, max_length=64
                    ),
                ),
                ("events", models.JSONField(verbose_name="events")),
                ("stopped_at", models.DateTimeField(blank=True, null=True, verbose_name="stopped")),
                (
                    "made_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="web_hooks",
                        to="training.site",
                        verbose_name="site",
                    ),
                ),
            ],
            options={
                "ordering": ["name", "id"],
            },
        ),
        migrations.CreateModel(
            name="WebHookDelivery",
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
                ("event_key", models.CharField(max_length=120)),
                (
                    "event",
                    models.CharField(
                        choices=[
                            ("certified", "certified"),
                            ("about_to_end", "about to end"),
                            ("ended", "ended"),
                            ("suspended", "suspended"),
                            ("reinstated", "reinstated"),
                        ],
                        max_length=16,
                        verbose_name="event",
                    ),
                ),
                ("delivery_id", models.CharField(max_length=32, unique=True)),
                ("body", models.BinaryField()),
                ("due_at", models.DateTimeField(verbose_name="due")),
                ("claimed_at", models.DateTimeField(blank=True, null=True)),
                ("attempts", models.PositiveSmallIntegerField(default=0, verbose_name="attempts")),
                (
                    "answer",
                    models.CharField(blank=True, max_length=200, verbose_name="last answer"),
                ),
                ("accepted_at", models.DateTimeField(blank=True, null=True, verbose_name="taken")),
                ("failed_at", models.DateTimeField(blank=True, null=True, verbose_name="given up")),
                (
                    "hook",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="deliveries",
                        to="certification.webhook",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="training.person",
                    ),
                ),
                (
                    "reminder",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="certification.reminder",
                    ),
                ),
            ],
            options={
                "ordering": ["-recorded_at", "-id"],
                "indexes": [
                    models.Index(fields=["accepted_at", "due_at"], name="web_hook_delivery_due")
                ],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("hook", "event_key"), name="web_hook_delivery_once_an_event"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="WebHookTold",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("standing", models.CharField(max_length=24)),
                ("certificate_id", models.BigIntegerField(null=True)),
                ("number", models.PositiveIntegerField(default=0)),
                (
                    "hook",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="told",
                        to="certification.webhook",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="training.person",
                    ),
                ),
                (
                    "scope",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="certification.scope",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("hook", "person", "scope"), name="web_hook_told_once_a_scope"
                    )
                ],
            },
        ),
    ]
