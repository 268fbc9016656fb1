from typing import Any

from django.db import migrations, models


def mark(apps: Any, _editor: Any) -> None:
    """Offcuts of which their roll booked nothing off were kept of film that was cut before."""
    roll, movement = apps.get_model("stock", "Roll"), apps.get_model("stock", "Movement")
    for offcut in roll.objects.filter(cut_from__isnull=False).only("number", "cut_from"):
        said = movement.objects.filter(roll=offcut.cut_from_id, kind="offcut", delta_mm=0)
        name, kept = f"R{offcut.number}", "off"
        if said.filter(reason=f"{name} was not kept.").exists():
            kept = "undone"
        elif said.filter(reason__startswith=f"{name}, ").exists():
            kept = "beside"
        roll.objects.filter(pk=offcut.pk).update(kept=kept)


class Migration(migrations.Migration):
    dependencies = [("stock", "0005_faults")]

    operations = [
        migrations.AddField(
            model_name="roll",
            name="kept",
            field=models.CharField(
                blank=True,
                choices=[
                    ("off", "cut off the roll"),
                    ("beside", "beside what was cut"),
                    ("undone", "not kept after all"),
                ],
                default="",
                max_length=6,
            ),
            preserve_default=False,
        ),
        migrations.RunPython(mark, migrations.RunPython.noop),
    ]
