"""Computations that only wait for something else."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("work", "0005_comes_first"),
    ]

    operations = [
        migrations.AddField(
            model_name="computation",
            name="only_waits",
            field=models.BooleanField(default=False),
        ),
    ]
