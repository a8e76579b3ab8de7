from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("school", "0047_second_guardians")]

    operations = [
        migrations.AddField(
            "lesson",
            "moved_at",
            models.DateTimeField(
                blank=True,
                help_text="When the school last gave it another time, outside a window",
                null=True,
            ),
        ),
    ]
