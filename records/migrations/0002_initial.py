import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("records", "0001_initial"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="signature",
            name="signer",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="signatures",
                to=settings.AUTH_USER_MODEL,
                verbose_name="signer",
            ),
        ),
        migrations.CreateModel(
            name="TrailPayload",
            fields=[
                (
                    "entry",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="payload",
                        serialize=False,
                        to="records.trailentry",
                    ),
                ),
                ("salt", models.CharField(max_length=32, verbose_name="salt")),
                ("body", models.TextField(verbose_name="details")),
                ("erased_at", models.DateTimeField(null=True, verbose_name="erased at")),
                (
                    "erased_reason",
                    models.CharField(max_length=400, verbose_name="why it was erased"),
                ),
            ],
            options={
                "verbose_name": "trail payload",
                "verbose_name_plural": "trail payloads",
            },
        ),
        migrations.AddField(
            model_name="trailentry",
            name="actor",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
                verbose_name="by",
            ),
        ),
        migrations.AddField(
            model_name="signature",
            name="entry",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="signature",
                to="records.trailentry",
                verbose_name="trail entry",
            ),
        ),
        migrations.AddConstraint(
            model_name="trailhead",
            constraint=models.CheckConstraint(
                condition=models.Q(("id", 1)), name="trailhead_is_one_row"
            ),
        ),
        migrations.AddConstraint(
            model_name="trailpayload",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("erased_at__isnull", True),
                        ("erased_reason", ""),
                        models.Q(("body", ""), _negated=True),
                        models.Q(("salt", ""), _negated=True),
                    ),
                    models.Q(
                        ("body", ""),
                        ("erased_at__isnull", False),
                        ("salt", ""),
                        models.Q(("erased_reason", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="trailpayload_whole_or_erased",
            ),
        ),
        migrations.AddIndex(
            model_name="trailentry",
            index=models.Index(fields=["about_type", "about_id"], name="trailentry_about"),
        ),
        migrations.AddConstraint(
            model_name="trailentry",
            constraint=models.CheckConstraint(
                condition=models.Q(("number__gte", 1)), name="trailentry_counts_from_one"
            ),
        ),
        migrations.AddIndex(
            model_name="signature",
            index=models.Index(fields=["about_type", "about_id"], name="signature_about"),
        ),
    ]
