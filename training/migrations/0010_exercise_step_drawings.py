from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0009_waiting_lists_and_booking"),
    ]

    operations = [
        migrations.AddField(
            model_name="exercisestep",
            name="cautions",
            field=models.JSONField(blank=True, default=list, verbose_name="cautions"),
        ),
        migrations.AddField(
            model_name="exercisestep",
            name="drawing",
            field=models.CharField(blank=True, max_length=80, verbose_name="drawing"),
        ),
        migrations.AddField(
            model_name="exercisestep",
            name="shows",
            field=models.CharField(
                blank=True,
                choices=[("accept", "accept"), ("reject", "reject")],
                max_length=8,
                verbose_name="what the drawing shows",
            ),
        ),
        migrations.AddConstraint(
            model_name="exercisestep",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("shows", ""), models.Q(("drawing", ""), _negated=True), _connector="OR"
                ),
                name="exercise_step_shows_a_drawing",
            ),
        ),
    ]
