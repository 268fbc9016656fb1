from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("cutting", "0006_places_along_a_roll")]

    operations = [
        migrations.AlterField(
            model_name="section",
            name="state",
            field=models.CharField(
                choices=[
                    ("open", "to be cut"),
                    ("cut", "cut"),
                    ("spoiled", "spoiled"),
                    ("left", "not to be cut any more"),
                ],
                default="open",
                max_length=8,
            ),
        ),
    ]
