from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0007_provider_links")]

    operations = [
        migrations.AddField(
            "site",
            "criteria_by_two",
            models.BooleanField(
                "a second person confirms criteria too",
                default=False,
                help_text="Sets belong to the organisation: asked of all once one site asks it.",
            ),
        )
    ]
