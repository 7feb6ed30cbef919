"""A layer keeps how many shapes it holds; those that are there are counted once."""

import json

from django.db import migrations, models


def count(apps, schema_editor):
    layers = apps.get_model("archive", "Layer").ungated
    for number, features in layers.values_list("pk", "features").iterator():
        layers.filter(pk=number).update(shapes=len(json.loads(features)["features"]))


class Migration(migrations.Migration):

    dependencies = [
        ('archive', '0012_reach_by_two_indexes'),
    ]

    operations = [
        migrations.AddField(
            model_name='layer',
            name='shapes',
            field=models.PositiveIntegerField(default=0, editable=False),
        ),
        migrations.RunPython(count, migrations.RunPython.noop),
    ]
