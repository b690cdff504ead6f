from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("people", "0009_site_proposal_days"),
        ("reminders", "0001_initial"),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name="message",
            name="message_one_a_day_each",
        ),
        migrations.AddField(
            model_name="message",
            name="carries",
            field=models.CharField(
                choices=[("reminders", "reminders"), ("class", "a letter about a class")],
                default="reminders",
                max_length=12,
                verbose_name="what it carries",
            ),
        ),
        migrations.AddConstraint(
            model_name="message",
            constraint=models.UniqueConstraint(
                condition=models.Q(("carries", "reminders")),
                fields=("recipient", "day"),
                name="message_one_a_day_each",
            ),
        ),
    ]
