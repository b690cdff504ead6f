import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("people", "0010_site_calendars"),
    ]

    operations = [
        migrations.CreateModel(
            name="SignInCode",
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
                ("code_hash", models.CharField(max_length=64, unique=True)),
                ("pin_hash", models.CharField(blank=True, max_length=64)),
                ("expires_at", models.DateTimeField(verbose_name="good until")),
                ("voided_at", models.DateTimeField(null=True)),
                ("used_at", models.DateTimeField(null=True)),
                ("used_from", models.CharField(blank=True, max_length=64)),
                ("pin_used_at", models.DateTimeField(null=True)),
                (
                    "made_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="codes",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("voided_at__isnull", True)),
                        fields=("user",),
                        name="sign_in_code_one_not_void",
                    )
                ],
            },
        ),
    ]
