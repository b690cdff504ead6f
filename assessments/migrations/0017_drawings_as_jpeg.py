from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("assessments", "0016_board_bench_minutes"),
    ]

    operations = [
        migrations.AlterField(
            model_name="criteriondrawing",
            name="kind",
            field=models.CharField(
                choices=[("image/svg+xml", "SVG"), ("image/png", "PNG"), ("image/jpeg", "JPEG")],
                max_length=16,
            ),
        ),
    ]
