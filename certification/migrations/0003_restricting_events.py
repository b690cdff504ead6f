from django.db import migrations, models
from django.db.models import Q

WIDER = models.CharField(blank=True, max_length=802, verbose_name="restriction")


class Migration(migrations.Migration):
    """Restricting is an event; spans say since when all but the restriction is as it is."""

    dependencies = [("certification", "0002_initial")]

    operations = [
        migrations.AddField(
            "certificateevent",
            "restriction",
            models.CharField(blank=True, default="", max_length=400, verbose_name="restriction"),
            preserve_default=False,
        ),
        migrations.AlterField(
            "certificateevent",
            "kind",
            models.CharField(
                choices=[
                    ("suspended", "suspended"),
                    ("reinstated", "reinstated"),
                    ("revoked", "revoked"),
                    ("ended", "ended"),
                    ("extended", "extended"),
                    ("restricted", "restricted"),
                    ("unrestricted", "restriction lifted"),
                    ("voided", "voided"),
                ],
                max_length=12,
                verbose_name="event",
            ),
        ),
        migrations.AddConstraint(
            "certificateevent",
            models.CheckConstraint(
                condition=(Q(kind="restricted") & ~Q(restriction=""))
                | (~Q(kind="restricted") & Q(restriction="")),
                name="event_restricted_alone_has_restriction",
            ),
        ),
        migrations.AlterField("standingspan", "restriction", WIDER),
        migrations.AlterField("knownspan", "restriction", WIDER),
        migrations.AddField(
            "standingspan",
            "stands_since",
            models.DateField(null=True, verbose_name="stands so since"),
        ),
        migrations.AddField(
            "knownspan",
            "stands_since",
            models.DateField(null=True, verbose_name="stands so since"),
        ),
    ]
