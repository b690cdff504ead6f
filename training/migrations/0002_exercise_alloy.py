from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("training", "0001_initial")]

    operations = [
        migrations.AddField(
            model_name="exercise",
            name="alloy",
            field=models.CharField(
                blank=True, default="", max_length=40, verbose_name="solder alloy"
            ),
            preserve_default=False,
        ),
    ]
