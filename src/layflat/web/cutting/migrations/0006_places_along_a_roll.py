from collections import Counter
from typing import Any

from django.db import migrations, models
from django.db.models import F, Min, Q


def as_they_were_counted(apps: Any, _schema_editor: Any) -> None:
    """Layouts that were chosen keep the order in which they were counted until now."""
    layouts = apps.get_model("cutting", "Layout").objects
    chosen = Q(state__in=("kept", "cut")) | Q(state="searching", found__isnull=False)
    rows = layouts.filter(chosen).annotate(first=Min("sections__pk"))
    last: Counter[int] = Counter()
    for key, roll in rows.order_by(F("first").asc(nulls_last=True), "pk").values_list("pk", "roll"):
        last[roll] += 1
        layouts.filter(pk=key).update(queue_place=last[roll])


class Migration(migrations.Migration):
    dependencies = [
        ("cutting", "0005_shared_sections"),
    ]

    operations = [
        migrations.AddField(
            model_name="layout",
            name="queue_place",
            field=models.PositiveIntegerField(null=True),
        ),
        migrations.RunPython(as_they_were_counted, migrations.RunPython.noop),
    ]
