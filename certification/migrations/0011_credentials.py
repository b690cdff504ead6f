import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("certification", "0010_asks_for_written_tests_and_courses"),
    ]

    operations = [
        migrations.CreateModel(
            name="PublicCode",
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
                ("code", models.CharField(max_length=24)),
                (
                    "certificate",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="public_code",
                        to="certification.certificate",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="SigningKey",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kid",
                    models.CharField(
                        help_text="Its thumbprint by RFC 7638.",
                        max_length=43,
                        unique=True,
                        verbose_name="key",
                    ),
                ),
                ("public_jwk", models.JSONField(verbose_name="public key")),
                (
                    "started_at",
                    models.DateTimeField(
                        default=django.utils.timezone.now, verbose_name="signs from"
                    ),
                ),
                (
                    "ended_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="signs until"),
                ),
                ("lost_at", models.DateTimeField(blank=True, null=True, verbose_name="lost")),
                (
                    "lost_reason",
                    models.CharField(blank=True, max_length=400, verbose_name="how it was lost"),
                ),
            ],
            options={
                "ordering": ["-started_at", "-pk"],
                "constraints": [
                    models.UniqueConstraint(
                        models.Value(1),
                        condition=models.Q(("ended_at__isnull", True)),
                        name="signing_key_one_current",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("lost_at__isnull", True), ("ended_at__isnull", False), _connector="OR"
                        ),
                        name="signing_key_lost_signs_no_more",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Credential",
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
                ("name", models.CharField(max_length=120, verbose_name="name")),
                (
                    "restriction",
                    models.CharField(blank=True, max_length=802, verbose_name="restriction"),
                ),
                ("good_through", models.DateField(verbose_name="good through")),
                ("status_list", models.PositiveIntegerField(verbose_name="status list")),
                ("status_index", models.PositiveIntegerField(verbose_name="index in the list")),
                (
                    "certificate",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="credentials",
                        to="certification.certificate",
                    ),
                ),
                (
                    "key",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="credentials",
                        to="certification.signingkey",
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("certificate", "key", "name", "restriction", "good_through"),
                        name="credential_once_a_content_and_key",
                    ),
                    models.UniqueConstraint(
                        fields=("status_list", "status_index"),
                        name="credential_has_a_bit_of_its_own",
                    ),
                ],
            },
        ),
    ]
