import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("operations", "0003_heartbeat_of_the_web"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="MailTrial",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recipient", models.EmailField(max_length=254, verbose_name="address")),
                ("server", models.CharField(max_length=260, verbose_name="sent by")),
                ("raw", models.BinaryField()),
                ("asked_at", models.DateTimeField(verbose_name="asked for")),
                ("claimed_at", models.DateTimeField(blank=True, null=True)),
                ("attempts", models.PositiveSmallIntegerField(default=0)),
                (
                    "answer",
                    models.TextField(blank=True, verbose_name="the mail server's last answer"),
                ),
                ("sent_at", models.DateTimeField(blank=True, null=True, verbose_name="sent")),
                ("failed_at", models.DateTimeField(blank=True, null=True, verbose_name="given up")),
                (
                    "followed_at",
                    models.DateTimeField(
                        blank=True, null=True, verbose_name="its link was followed"
                    ),
                ),
                (
                    "asked_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-asked_at", "-id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("sent_at__isnull", True), ("failed_at__isnull", True), _connector="OR"
                        ),
                        name="mail_trial_sent_or_given_up",
                    )
                ],
            },
        ),
    ]
