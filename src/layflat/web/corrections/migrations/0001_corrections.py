"""The first tables of this part."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    """See the models."""

    initial = True

    dependencies = [
        ("bodies", "0004_body_without_scan"),
        ("files", "0001_initial"),
        ("work", "0006_only_waits"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Asked",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("piece", models.CharField(max_length=80)),
                (
                    "body",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="bodies.body",
                    ),
                ),
                (
                    "computation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="work.computation",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("body", "piece"), name="one_asked_correction")
                ],
            },
        ),
        migrations.CreateModel(
            name="Correction",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("piece", models.CharField(max_length=80)),
                ("number", models.PositiveIntegerField(null=True)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("found", "to be looked at"),
                            ("kept", "cut from now on"),
                            ("given up", "not taken"),
                            ("back", "taken back"),
                        ],
                        default="found",
                        max_length=8,
                    ),
                ),
                ("figures", models.JSONField()),
                ("said", models.JSONField()),
                ("found_at", models.DateTimeField(auto_now_add=True)),
                ("settled_at", models.DateTimeField(null=True)),
                ("back_at", models.DateTimeField(null=True)),
                (
                    "back_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "body",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrections",
                        to="bodies.body",
                    ),
                ),
                (
                    "computation",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="work.computation",
                    ),
                ),
                (
                    "history",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="files.storedfile",
                    ),
                ),
                (
                    "picture",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="files.storedfile",
                    ),
                ),
                (
                    "settled_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
                "constraints": [
                    models.UniqueConstraint(
                        fields=("body", "piece", "number"), name="one_correction_number_per_piece"
                    )
                ],
            },
        ),
    ]
