import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("files", "0001_initial"),
        ("jobs", "0001_initial"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="YearCount",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("year", models.PositiveSmallIntegerField(unique=True)),
                ("last", models.PositiveIntegerField(default=0)),
            ],
        ),
        migrations.AddField(
            model_name="customer",
            name="version",
            field=models.PositiveIntegerField(default=1),
        ),
        migrations.AddField(
            model_name="fault",
            name="across",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="fault",
            name="along",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="fault",
            name="thumb",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="files.storedfile",
            ),
        ),
        migrations.AddField(
            model_name="fault",
            name="view",
            field=models.CharField(blank=True, max_length=8),
        ),
        migrations.AddField(
            model_name="fault",
            name="withdrawn_reason",
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name="job",
            name="wanted",
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="vehicle",
            name="version",
            field=models.PositiveIntegerField(default=1),
        ),
        migrations.CreateModel(
            name="AnsweredForm",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("token", models.CharField(max_length=32, unique=True)),
                ("went_to", models.CharField(max_length=200)),
                ("at", models.DateTimeField(auto_now_add=True, db_index=True)),
                (
                    "who",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
    ]
