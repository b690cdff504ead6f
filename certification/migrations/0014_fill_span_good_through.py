from django.db import migrations
from django.db.models import OuterRef, Subquery
from django.db.models.functions import Coalesce


def fill(apps, schema_editor):
    """Write the certificate's last day beside each span, as far as the spans tell it.

    A certificate that was certified on some day has its last day among the ends of that span;
    for the others it is the one it was issued with. Rebuilding the spans says it exactly.
    """
    certificates = apps.get_model("certification", "Certificate")._default_manager
    issued = certificates.filter(pk=OuterRef("certificate")).order_by().values("valid_through")
    for span, end in (("StandingSpan", "StandingEnd"), ("KnownSpan", "KnownEnd")):
        spans = apps.get_model("certification", span)._default_manager
        ends = apps.get_model("certification", end)._default_manager.filter(
            span__certificate=OuterRef("certificate"), kind="certificate"
        )
        if span == "KnownSpan":
            ends = ends.filter(span__known=OuterRef("known"))
        last = ends.order_by("last_day").values("last_day")[:1]
        spans.filter(good_through__isnull=True, certificate__isnull=False).update(
            good_through=Coalesce(Subquery(last), Subquery(issued[:1]))
        )


class Migration(migrations.Migration):
    dependencies = [
        ("certification", "0013_span_good_through"),
    ]

    operations = [
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
