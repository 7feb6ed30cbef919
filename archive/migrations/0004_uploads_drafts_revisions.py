"""Transcripts get addresses; uploads, drafts and revisions are kept."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import archive.models.items


def give_addresses(apps, schema_editor):
    transcripts = apps.get_model("archive", "Transcript").ungated
    for number in transcripts.filter(ref__isnull=True).values_list("pk", flat=True):
        transcripts.filter(pk=number).update(ref=archive.models.items.new_ref())


class Migration(migrations.Migration):
    dependencies = [("archive", "0003_own_wish_ungated")]

    operations = [
        migrations.AddField("transcript", "ref", models.CharField(max_length=16, null=True, editable=False)),
        migrations.RunPython(give_addresses, migrations.RunPython.noop),
        migrations.AlterField(
            "transcript",
            "ref",
            models.CharField(default=archive.models.items.new_ref, editable=False, max_length=16, unique=True),
        ),
        migrations.CreateModel(
            name="Draft",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("content", models.JSONField(default=dict)),
                ("version", models.PositiveIntegerField(default=1)),
                ("saved_at", models.DateTimeField(auto_now=True)),
                ("account", models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name="+", to=settings.AUTH_USER_MODEL)),
                ("recording", models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name="+", to="archive.recording")),
            ],
            options={
                "constraints": [models.UniqueConstraint(fields=("account", "recording"), name="one_draft_each")],
            },
            managers=[("ungated", django.db.models.manager.Manager())],
        ),
        migrations.CreateModel(
            name="Revision",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.PositiveIntegerField()),
                ("made_at", models.DateTimeField(auto_now_add=True)),
                ("note", models.CharField(blank=True, max_length=200)),
                ("content", models.BinaryField()),
                ("made_by", models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name="+", to=settings.AUTH_USER_MODEL)),
                ("transcript", models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name="revisions", to="archive.transcript")),
            ],
            options={
                "ordering": ["transcript_id", "-number"],
                "constraints": [models.UniqueConstraint(fields=("transcript", "number"), name="revision_once")],
            },
            managers=[("ungated", django.db.models.manager.Manager())],
        ),
        migrations.CreateModel(
            name="Upload",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("ref", models.CharField(default=archive.models.items.new_ref, editable=False, max_length=16, unique=True)),
                ("original_name", models.CharField(max_length=255)),
                ("size_bytes", models.BigIntegerField()),
                ("started_at", models.DateTimeField(auto_now_add=True)),
                ("touched_at", models.DateTimeField(auto_now=True)),
                ("account", models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name="+", to=settings.AUTH_USER_MODEL)),
            ],
            options={"ordering": ["-touched_at", "-id"]},
            managers=[("ungated", django.db.models.manager.Manager())],
        ),
    ]
