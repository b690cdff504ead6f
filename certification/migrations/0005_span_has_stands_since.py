from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("certification", "0004_fill_stands_since")]

    operations = [
        migrations.AlterField(
            "standingspan", "stands_since", models.DateField(verbose_name="stands so since")
        ),
        migrations.AlterField(
            "knownspan", "stands_since", models.DateField(verbose_name="stands so since")
        ),
    ]
