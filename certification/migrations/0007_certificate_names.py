import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("certification", "0006_schemes_have_pages"),
        ("records", "0002_proof_by_password_and_code"),
    ]

    operations = [
        migrations.CreateModel(
            name="CertificateName",
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
                ("from_day", models.DateField(verbose_name="holder’s name since")),
                ("reason", models.CharField(blank=True, max_length=400, verbose_name="reason")),
                (
                    "certificate",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="names",
                        to="certification.certificate",
                    ),
                ),
                (
                    "signature",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="records.signature",
                    ),
                ),
            ],
            options={
                "ordering": ["recorded_at", "pk"],
            },
        ),
    ]
