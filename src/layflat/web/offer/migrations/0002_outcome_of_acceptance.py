from typing import Any

import django.db.models.deletion
from django.db import migrations, models


def fill(apps: Any, _schema_editor: Any) -> None:
    """Older acceptances name their outcome in what was offered only."""
    acceptances = apps.get_model("offer", "Acceptance").objects
    outcomes = apps.get_model("cover", "Outcome").objects
    for acceptance in acceptances.filter(outcome=None).select_related("offer").iterator():
        chosen = acceptance.offer.content["alternatives"][acceptance.alternative - 1]
        # What names none that is kept stays without.
        outcome = outcomes.filter(pk=chosen.get("outcome")).first()
        if outcome is not None:
            acceptances.filter(pk=acceptance.pk).update(outcome=outcome)


class Migration(migrations.Migration):
    dependencies = [
        ("cover", "0002_piece_pattern"),
        ("offer", "0001_the_start"),
    ]

    operations = [
        migrations.AddField(
            model_name="acceptance",
            name="outcome",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="acceptances",
                to="cover.outcome",
            ),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
