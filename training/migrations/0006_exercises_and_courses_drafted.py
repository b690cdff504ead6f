import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0005_practice_by_reference_in_byte_order"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="courserevision",
            name="begun_from",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="revised_by",
                to="training.courserevision",
            ),
        ),
        migrations.AddField(
            model_name="courserevision",
            name="changed_at",
            field=models.DateTimeField(blank=True, null=True, verbose_name="changed in the draft"),
        ),
        migrations.AddField(
            model_name="courserevision",
            name="changed_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="courserevision",
            name="material",
            field=models.TextField(
                blank=True, help_text="What has to be there, a line each.", verbose_name="material"
            ),
        ),
        migrations.AddField(
            model_name="courserevision",
            name="published_at",
            field=models.DateTimeField(blank=True, null=True, verbose_name="published"),
        ),
        migrations.AddField(
            model_name="courserevision",
            name="published_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="courserevision",
            name="publishing_reason",
            field=models.CharField(blank=True, max_length=400, verbose_name="why it was published"),
        ),
        migrations.AddField(
            model_name="courserevision",
            name="retired_at",
            field=models.DateTimeField(blank=True, null=True, verbose_name="retired"),
        ),
        migrations.AddField(
            model_name="courserevision",
            name="scope_codes",
            field=models.JSONField(blank=True, default=list, verbose_name="scopes it leads to"),
        ),
        migrations.AddField(
            model_name="courserevision",
            name="source",
            field=models.CharField(blank=True, max_length=200, verbose_name="where it comes from"),
        ),
        migrations.AddField(
            model_name="exercise",
            name="begun_from",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="revised_by",
                to="training.exercise",
            ),
        ),
        migrations.AddField(
            model_name="exercise",
            name="changed_at",
            field=models.DateTimeField(blank=True, null=True, verbose_name="changed in the draft"),
        ),
        migrations.AddField(
            model_name="exercise",
            name="changed_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="exercise",
            name="published_at",
            field=models.DateTimeField(blank=True, null=True, verbose_name="published"),
        ),
        migrations.AddField(
            model_name="exercise",
            name="published_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="exercise",
            name="publishing_reason",
            field=models.CharField(blank=True, max_length=400, verbose_name="why it was published"),
        ),
        migrations.AddField(
            model_name="exercise",
            name="source",
            field=models.CharField(
                blank=True,
                help_text="Of what came along to begin with; steps have sources of their own.",
                max_length=200,
                verbose_name="where it comes from",
            ),
        ),
        migrations.AddField(
            model_name="lesson",
            name="kind",
            field=models.CharField(
                blank=True,
                choices=[
                    ("demonstration", "demonstration"),
                    ("reading", "reading"),
                    ("practice", "practice"),
                    ("judging", "judging"),
                    ("test", "test"),
                ],
                max_length=16,
                verbose_name="kind",
            ),
        ),
        migrations.AddField(
            model_name="lesson",
            name="material",
            field=models.CharField(blank=True, max_length=200, verbose_name="material"),
        ),
        migrations.AlterField(
            model_name="exercise",
            name="drawing",
            field=models.CharField(blank=True, max_length=80, verbose_name="drawing"),
        ),
    ]
