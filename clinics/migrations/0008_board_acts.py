import uuid

import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("clinics", "0007_clip_says_what_is_missing"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="BoardAct",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=uuid.uuid4, editable=False, primary_key=True, serialize=False
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("nudge", "clip moved by frames"),
                            ("ends", "ends of a clip set"),
                            ("cut", "clip cut by hand"),
                            ("swap", "two swimmers swapped"),
                            ("reassign", "somebody else's swim"),
                            ("no-swim", "was no swim"),
                            ("add-swim", "swim added"),
                            ("confirm", "person confirmed"),
                        ],
                        max_length=10,
                    ),
                ),
                ("at", models.DateTimeField(default=django.utils.timezone.now)),
                ("facts", models.JSONField(default=dict)),
                ("before", models.JSONField(default=dict)),
                ("after", models.JSONField(default=dict)),
                ("undone_at", models.DateTimeField(null=True)),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "clinic",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="board_acts",
                        to="clinics.clinic",
                    ),
                ),
                (
                    "undone_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["at"],
                "indexes": [models.Index(fields=["clinic", "at"], name="board_act_clinic_at")],
            },
        ),
    ]
