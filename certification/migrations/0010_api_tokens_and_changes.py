import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("certification", "0009_work_log_check"),
        ("training", "0005_kiosk_role"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="ApiToken",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=80, verbose_name="name")),
                ("beginning", models.CharField(max_length=12, verbose_name="begins with")),
                ("token_hash", models.CharField(editable=False, max_length=64, unique=True)),
                (
                    "made_at",
                    models.DateTimeField(default=django.utils.timezone.now, verbose_name="made"),
                ),
                ("revoked_at", models.DateTimeField(blank=True, null=True, verbose_name="revoked")),
                (
                    "last_used_on",
                    models.DateField(
                        blank=True,
                        help_text="The day at the site, no closer.",
                        null=True,
                        verbose_name="last used on",
                    ),
                ),
            ],
            options={
                "ordering": ["site__name", "name", "-made_at"],
            },
        ),
        migrations.CreateModel(
            name="StandingChange",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("changed_at", models.DateTimeField(verbose_name="changed")),
            ],
        ),
        migrations.AddIndex(
            model_name="standingspan",
            index=models.Index(fields=["first_day"], name="span_by_first_day"),
        ),
        migrations.AddField(
            model_name="apitoken",
            name="made_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="apitoken",
            name="revoked_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="apitoken",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="api_tokens",
                to="training.site",
                verbose_name="site",
            ),
        ),
        migrations.AddField(
            model_name="standingchange",
            name="person",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE, related_name="+", to="training.person"
            ),
        ),
        migrations.AddField(
            model_name="standingchange",
            name="scope",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE,
                related_name="+",
                to="certification.scope",
            ),
        ),
        migrations.AddField(
            model_name="standingchange",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE, related_name="+", to="training.site"
            ),
        ),
        migrations.AddConstraint(
            model_name="apitoken",
            constraint=models.UniqueConstraint(
                condition=models.Q(("revoked_at__isnull", True)),
                fields=("site", "name"),
                name="api_token_in_use_named_once_a_site",
            ),
        ),
        migrations.AddIndex(
            model_name="standingchange",
            index=models.Index(fields=["site", "changed_at"], name="standing_change_by_site"),
        ),
        migrations.AddConstraint(
            model_name="standingchange",
            constraint=models.UniqueConstraint(
                fields=("person", "scope", "site"), name="standing_change_once_a_pair_and_site"
            ),
        ),
    ]
