from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("operations", "0002_verification"),
    ]

    operations = [
        migrations.AlterField(
            model_name="heartbeat",
            name="kind",
            field=models.CharField(
                choices=[
                    ("web", "start of the web process"),
                    ("worker", "worker"),
                    ("clock", "clock"),
                    ("sweep", "sweep"),
                    ("sending", "sending"),
                ],
                max_length=12,
                verbose_name="kind",
            ),
        ),
    ]
