from django.db import migrations
from django.db.models import OuterRef, Subquery


def fill(apps, schema_editor):
    """Until now web hooks were told the restriction of the certificate itself, with each yes."""
    reported = apps.get_model("interfaces", "ReportedStanding").objects.filter(standing="certified")
    certificates = apps.get_model("certification", "Certificate").objects
    restricted = certificates.exclude(restriction="").filter(pk=OuterRef("certificate_id"))
    pks = certificates.exclude(restriction="").values("pk")
    reported.filter(restriction="", certificate_id__in=pks).update(
        restriction=Subquery(restricted.values("restriction")[:1])
    )


class Migration(migrations.Migration):
    dependencies = [
        ("certification", "0005_span_has_stands_since"),
        ("interfaces", "0003_reported_restriction"),
    ]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
