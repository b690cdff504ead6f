from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("certification", "0011_standing_changes_filled"),
    ]

    operations = [
        migrations.AddField(
            model_name="worklogcheck",
            name="findings_sha256",
            field=models.CharField(blank=True, max_length=64),
        ),
    ]
