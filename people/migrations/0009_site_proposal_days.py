from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0008_site_criteria_by_two")]

    operations = [
        migrations.AddField(
            "site",
            "proposal_days",
            models.PositiveSmallIntegerField(
                "days after which quality is written to about a proposal",
                default=5,
                help_text="Once for each proposal that waits; 0: never.",
            ),
        ),
        migrations.AddConstraint(
            "site",
            models.CheckConstraint(
                condition=models.Q(proposal_days__lte=60), name="site_proposal_days_at_most_60"
            ),
        ),
    ]
