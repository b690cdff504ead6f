from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = []

    operations = [
        migrations.CreateModel(
            name="Signature",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("printed_name", models.CharField(max_length=150, verbose_name="printed name")),
                ("signed_at", models.DateTimeField(db_index=True, verbose_name="signed at")),
                ("zone", models.CharField(max_length=64, verbose_name="time zone of the site")),
                ("meaning", models.CharField(max_length=80, verbose_name="meaning")),
                ("about_type", models.CharField(max_length=100, verbose_name="kind of thing")),
                ("about_id", models.CharField(max_length=64, verbose_name="number of the thing")),
                ("content", models.TextField(verbose_name="what was signed")),
                (
                    "content_sha256",
                    models.CharField(max_length=64, verbose_name="hash of what was signed"),
                ),
                (
                    "proof",
                    models.CharField(
                        choices=[
                            ("password", "password"),
                            ("passkey", "passkey"),
                            ("provider", "fresh sign-in at the provider"),
                        ],
                        max_length=12,
                        verbose_name="proof of identity",
                    ),
                ),
            ],
            options={
                "verbose_name": "signature",
                "verbose_name_plural": "signatures",
                "ordering": ["signed_at", "id"],
            },
        ),
        migrations.CreateModel(
            name="TrailEntry",
            fields=[
                (
                    "number",
                    models.PositiveBigIntegerField(
                        primary_key=True, serialize=False, verbose_name="number"
                    ),
                ),
                ("recorded_at", models.DateTimeField(db_index=True, verbose_name="recorded at")),
                ("actor_label", models.CharField(max_length=150, verbose_name="signed in as")),
                ("act", models.CharField(max_length=80, verbose_name="act")),
                ("about_type", models.CharField(max_length=100, verbose_name="kind of thing")),
                ("about_id", models.CharField(max_length=64, verbose_name="number of the thing")),
                (
                    "previous_hash",
                    models.CharField(max_length=64, verbose_name="hash of the entry before"),
                ),
                (
                    "payload_digest",
                    models.CharField(max_length=64, verbose_name="digest of the payload"),
                ),
                ("entry_hash", models.CharField(max_length=64, unique=True, verbose_name="hash")),
            ],
            options={
                "verbose_name": "trail entry",
                "verbose_name_plural": "trail entries",
                "ordering": ["number"],
            },
        ),
        migrations.CreateModel(
            name="TrailHead",
            fields=[
                (
                    "id",
                    models.PositiveSmallIntegerField(default=1, primary_key=True, serialize=False),
                ),
                ("number", models.PositiveBigIntegerField(verbose_name="number of the last entry")),
                (
                    "entry_hash",
                    models.CharField(max_length=64, verbose_name="hash of the last entry"),
                ),
            ],
            options={
                "verbose_name": "end of the trail",
                "verbose_name_plural": "end of the trail",
            },
        ),
        migrations.CreateModel(
            name="NumberSeries",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("prefix", models.CharField(max_length=8, verbose_name="prefix")),
                ("kind", models.CharField(max_length=8, verbose_name="kind")),
                (
                    "last",
                    models.PositiveBigIntegerField(default=0, verbose_name="last number given"),
                ),
            ],
            options={
                "verbose_name": "series of numbers",
                "verbose_name_plural": "series of numbers",
                "ordering": ["prefix", "kind"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("prefix", "kind"), name="number_series_one_per_prefix_and_kind"
                    )
                ],
            },
        ),
    ]
