from typing import Any

import django.db.models.deletion
from django.db import migrations, models


def note_what_is_bent(apps: Any, _schema_editor: Any) -> None:
    """Programs that were bent are known by their reading; against what, nobody kept.

    So they are never bent once more from what is bent already.
    """
    computations = apps.get_model("work", "Computation").objects
    readings = apps.get_model("sending", "Reading").objects
    prepared = apps.get_model("sending", "Prepared").objects
    begun = computations.filter(task="sending.correct", attempts__gt=0).exclude(state="failed")
    for inputs in begun.order_by("asked_at", "id").values_list("inputs", flat=True):
        reading = readings.select_related("section").filter(pk=inputs["reading"]).first()
        if reading is not None:
            prepared.filter(
                section__layout=reading.section.layout_id,
                section__number__gt=reading.section.number,
            ).update(bent_by=reading)


class Migration(migrations.Migration):
    dependencies = [
        ("files", "0001_initial"),
        ("sending", "0001_initial"),
        ("work", "0006_only_waits"),
    ]

    operations = [
        migrations.AddField(
            model_name="prepared",
            name="straight",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="files.storedfile",
            ),
        ),
        migrations.AddField(
            model_name="prepared",
            name="bent_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="sending.reading",
            ),
        ),
        migrations.AddField(
            model_name="reading",
            name="against",
            field=models.JSONField(null=True),
        ),
        migrations.RunPython(note_what_is_bent, migrations.RunPython.noop),
    ]
