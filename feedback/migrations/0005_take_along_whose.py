import uuid

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    """Nothing to take along could be asked for yet: no row gets the default."""

    dependencies = [("clinics", "0009_nobody_else_is_an_act"), ("feedback", "0004_taken_back_and_told")]

    operations = [
        migrations.AddField(
            model_name="takealong",
            name="entry",
            field=models.ForeignKey(
                default=uuid.UUID(int=0),
                on_delete=django.db.models.deletion.CASCADE,
                related_name="+",
                to="clinics.entry",
            ),
            preserve_default=False,
        ),
    ]
