from typing import Any

from django.db import migrations, models


def mark(apps: Any, _editor: Any) -> None:
    """Offcuts of which their roll booked nothing off were kept of film that was cut before."""
    roll, movement = apps.get_model("stock", "Roll"), apps.get_model("stock", "Movement")
    for offcut in roll.objects.filter(cut_from__isnull=False).only("number", "cut_from"):
        said = movement.objects.filter(roll=offcut.cut_from_id, kind="offcut", delta_mm=0)
        name = f"R{offcut.number}"
        if not said.filter(reason__startswith=f"{name}, ").exists():
            continue
        if not said.filter(reason=f"{name} was not kept.").exists():
            roll.objects.filter(pk=offcut.pk).update(is_beside=True)


class Migration(migrations.Migration):
    dependencies = [("stock", "0005_faults")]

    operations = [
        migrations.AddField(
            model_name="roll", name="is_beside", field=models.BooleanField(default=False)
        ),
        migrations.RunPython(mark, migrations.RunPython.noop),
    ]
