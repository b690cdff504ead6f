from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0004_withdrawals_signed"),
    ]

    operations = [
        migrations.AlterField(
            model_name="siterole",
            name="role",
            field=models.CharField(
                choices=[
                    ("operator", "operator"),
                    ("line_lead", "line lead"),
                    ("instructor", "instructor"),
                    ("quality", "quality"),
                    ("administrator", "administrator"),
                    ("kiosk", "kiosk"),
                ],
                max_length=16,
                verbose_name="role",
            ),
        ),
    ]
