from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [("assessments", "0014_by_eye_because")]

    operations = [
        migrations.AddField(
            model_name="photo",
            name="sending",
            field=models.CharField(
                blank=True,
                default="",
                editable=False,
                help_text="What the browser called the act by which it came, with others.",
                max_length=32,
            ),
        ),
        migrations.AddField(
            model_name="photo",
            name="taken_back_at",
            field=models.DateTimeField(
                blank=True, editable=False, null=True, verbose_name="taken back"
            ),
        ),
        migrations.RemoveConstraint(model_name="photo", name="photo_once_a_board"),
        migrations.AddConstraint(
            model_name="photo",
            constraint=models.UniqueConstraint(
                condition=Q(taken_back_at__isnull=True),
                fields=("board", "sha256"),
                name="photo_once_a_board",
            ),
        ),
    ]
