import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("certification", "0003_heartbeat"),
        ("training", "0003_site_contact"),
    ]

    operations = [
        migrations.CreateModel(
            name="MailChoice",
            fields=[
                (
                    "person",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="mail_choice",
                        serialize=False,
                        to="training.person",
                    ),
                ),
                (
                    "lists",
                    models.CharField(
                        choices=[
                            ("weekly", "every week"),
                            ("daily", "every working day"),
                            ("monthly", "every month"),
                            ("never", "never"),
                        ],
                        default="weekly",
                        max_length=8,
                        verbose_name="lists of what ends",
                    ),
                ),
            ],
        ),
    ]
