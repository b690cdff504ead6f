import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("interfaces", "0006_api_token_may_record_work"),
        ("reminders", "0001_initial"),
    ]

    operations = [
        migrations.AlterField(
            model_name="webhookdelivery",
            name="reminder",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="+",
                to="reminders.reminder",
            ),
        ),
    ]
