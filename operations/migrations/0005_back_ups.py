from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("operations", "0004_mail_trials"),
    ]

    operations = [
        migrations.CreateModel(
            name="BackUp",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("begun_at", models.DateTimeField(verbose_name="begun")),
                ("ended_at", models.DateTimeField(blank=True, null=True, verbose_name="ended")),
                (
                    "failure",
                    models.CharField(blank=True, max_length=400, verbose_name="why it failed"),
                ),
                ("path", models.TextField(verbose_name="file")),
                ("by_clock", models.BooleanField(default=False, verbose_name="at night")),
                ("is_encrypted", models.BooleanField(default=False, verbose_name="encrypted")),
                (
                    "size_bytes",
                    models.PositiveBigIntegerField(default=0, verbose_name="size of the archive"),
                ),
                ("rows", models.PositiveBigIntegerField(default=0, verbose_name="rows")),
                ("files", models.PositiveBigIntegerField(default=0, verbose_name="files")),
                (
                    "files_bytes",
                    models.PositiveBigIntegerField(default=0, verbose_name="size of the files"),
                ),
                (
                    "added_files",
                    models.PositiveBigIntegerField(default=0, verbose_name="files that were new"),
                ),
                (
                    "missing_files",
                    models.PositiveBigIntegerField(default=0, verbose_name="files that were gone"),
                ),
            ],
            options={
                "ordering": ["-begun_at", "-id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("failure", ""), ("ended_at__isnull", False), _connector="OR"
                        ),
                        name="back_up_that_failed_has_ended",
                    )
                ],
            },
        ),
    ]
