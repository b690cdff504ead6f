from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("assessments", "0015_photo_sendings")]

    operations = [
        migrations.AddField(
            model_name="board",
            name="bench_minutes",
            field=models.PositiveSmallIntegerField(
                blank=True, null=True, verbose_name="minutes at the bench"
            ),
        ),
    ]
