import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("people", "0009_site_proposal_days"),
        ("training", "0008_rooms_and_other_instructors"),
    ]

    operations = [
        migrations.AddField(
            model_name="classsession",
            name="book_until_days",
            field=models.PositiveSmallIntegerField(
                default=1,
                verbose_name="days before the first day until which people book and give back",
            ),
        ),
        migrations.AddField(
            model_name="classsession",
            name="cancelled_at",
            field=models.DateTimeField(blank=True, null=True, verbose_name="cancelled"),
        ),
        migrations.AddField(
            model_name="classsession",
            name="open_to",
            field=models.CharField(
                choices=[
                    ("nobody", "instructors alone enrol people"),
                    ("site", "people of the site book places"),
                    ("all", "people of every site book places"),
                ],
                default="nobody",
                max_length=8,
                verbose_name="open to",
            ),
        ),
        migrations.AddField(
            model_name="classsession",
            name="why_cancelled",
            field=models.CharField(blank=True, max_length=400, verbose_name="why"),
        ),
        migrations.CreateModel(
            name="ClassLetter",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("invitation", "invitation"),
                            ("change", "change"),
                            ("cancellation", "cancellation"),
                        ],
                        max_length=12,
                        verbose_name="kind",
                    ),
                ),
                ("sequence", models.PositiveIntegerField(verbose_name="number")),
                ("says", models.JSONField(default=dict, verbose_name="what it says")),
                ("by_mail", models.BooleanField(verbose_name="sent by mail")),
                ("printed_at", models.DateTimeField(blank=True, null=True, verbose_name="printed")),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="class_letters",
                        to="people.person",
                    ),
                ),
                (
                    "session",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="letters",
                        to="training.classsession",
                    ),
                ),
            ],
            options={
                "ordering": ["-recorded_at", "-id"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("session", "person", "sequence"), name="class_letter_once"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="WaitingPlace",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                ("rank", models.IntegerField(verbose_name="place on the waiting list")),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="waiting_places",
                        to="people.person",
                    ),
                ),
                (
                    "session",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="waiting_places",
                        to="training.classsession",
                    ),
                ),
            ],
            options={
                "ordering": ["rank"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("session", "person"), name="waits_once_for_a_class"
                    ),
                    models.UniqueConstraint(
                        fields=("session", "rank"), name="waiting_rank_once_in_a_class"
                    ),
                ],
            },
        ),
    ]
