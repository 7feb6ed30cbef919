"""The closure goes by two indexes; those that the foreign keys had of their own only repeat their first columns."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('archive', '0011_kept_searches'),
    ]

    operations = [
        migrations.AlterField(
            model_name='reach',
            name='condition',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='archive.condition'),
        ),
        migrations.AlterField(
            model_name='reach',
            name='item',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='archive.item'),
        ),
    ]
