"""A request that was granted by belonging to an audience says to which."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('archive', '0013_shapes_of_layers'),
    ]

    operations = [
        migrations.AddField(
            model_name='ask',
            name='audience',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='archive.audience'),
        ),
    ]
