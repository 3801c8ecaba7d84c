from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("clinics", "0006_one_clock"),
    ]

    operations = [
        migrations.AddField(
            model_name="clip",
            name="missing_after_s",
            field=models.FloatField(default=0.0),
        ),
        migrations.AddField(
            model_name="clip",
            name="missing_before_s",
            field=models.FloatField(default=0.0),
        ),
        migrations.AddField(
            model_name="clip",
            name="missing_by",
            field=models.CharField(
                blank=True,
                choices=[
                    ("recording", "the camera was not recording"),
                    ("dropped", "somebody swam who has not agreed to be filmed"),
                ],
                max_length=9,
            ),
        ),
    ]
