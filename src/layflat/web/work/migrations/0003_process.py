from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("work", "0002_claim_and_runner"),
    ]

    operations = [
        migrations.AddField(
            model_name="computation",
            name="process",
            field=models.CharField(blank=True, max_length=120),
        ),
    ]
