"""The first tables of this part."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    """See the models."""

    initial = True

    dependencies = [
        ("cutting", "0005_shared_sections"),
        ("jobs", "0004_alter_job_closed_from_alter_job_stage"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="FitNote",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("number", models.PositiveIntegerField()),
                ("kind", models.CharField(max_length=8)),
                ("x_mm", models.FloatField()),
                ("y_mm", models.FloatField()),
                ("mm", models.JSONField()),
                ("along_mm", models.FloatField(default=0)),
                ("words", models.CharField(blank=True, max_length=300)),
                ("noted_at", models.DateTimeField()),
                ("withdrawn_at", models.DateTimeField(null=True)),
                (
                    "cut",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="fit_notes",
                        to="cutting.cut",
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="fit_notes",
                        to="jobs.job",
                    ),
                ),
                (
                    "noted_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "withdrawn_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ("job", "number"),
                "constraints": [
                    models.UniqueConstraint(
                        fields=("job", "number"), name="one_fit_note_number_per_job"
                    )
                ],
            },
        ),
    ]
