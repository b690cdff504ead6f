from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0002_practice_by_reference"),
    ]

    operations = [
        migrations.AddField(
            model_name="site",
            name="contact",
            field=models.CharField(
                blank=True,
                help_text="An office, a telephone number, an address; stands in every reminder.",
                max_length=200,
                verbose_name="whom to ask",
            ),
        ),
    ]
