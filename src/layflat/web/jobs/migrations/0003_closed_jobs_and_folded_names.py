from typing import Any

from django.db import migrations, models

import layflat.web.folding

STAGES = [
    ("enquiry", "Enquiry"),
    ("intake", "Walk-round"),
    ("cover", "Cover"),
    ("offered", "Offered"),
    ("accepted", "Accepted"),
    ("closed", "Closed"),
]


def fold(apps: Any, _schema_editor: Any) -> None:
    for name, field in (("Customer", "name_folded"), ("Vehicle", "marks_folded")):
        for row in list(apps.get_model("jobs", name).objects.all()):
            row.save(update_fields=[field])


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0002_faults_on_drawings_and_answered_forms"),
    ]

    operations = [
        migrations.AddField(
            model_name="customer",
            name="name_folded",
            field=layflat.web.folding.FoldedField("name", default="", editable=False),
        ),
        migrations.AddField(
            model_name="job",
            name="closed_because",
            field=models.CharField(blank=True, max_length=300),
        ),
        migrations.AddField(
            model_name="job",
            name="closed_from",
            field=models.CharField(blank=True, choices=STAGES, max_length=10),
        ),
        migrations.AddField(
            model_name="vehicle",
            name="marks_folded",
            field=layflat.web.folding.FoldedField(
                "plate", "vin", default="", editable=False, is_bare=True
            ),
        ),
        migrations.RunPython(fold, migrations.RunPython.noop),
    ]
