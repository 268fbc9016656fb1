from typing import Any

from django.db import migrations

import layflat.web.folding


def fold(apps: Any, _schema_editor: Any) -> None:
    for body in list(apps.get_model("bodies", "Body").objects.all()):
        body.save(update_fields=["words_folded"])


class Migration(migrations.Migration):
    dependencies = [
        ("bodies", "0002_drawn_lines_and_picture"),
    ]

    operations = [
        migrations.AddField(
            model_name="body",
            name="words_folded",
            field=layflat.web.folding.FoldedField(
                "maker", "name", "note", default="", editable=False
            ),
        ),
        migrations.RunPython(fold, migrations.RunPython.noop),
    ]
