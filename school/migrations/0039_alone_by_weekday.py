from django.db import migrations, models


def by_weekday(apps, schema_editor):
    """Who worked alone does so every day; who did not, on none."""
    people = apps.get_model("school", "Groundsperson").objects
    people.filter(alone=False).update(alone_days=0)


def whole(apps, schema_editor):
    people = apps.get_model("school", "Groundsperson").objects
    people.update(alone=False)
    people.exclude(alone_days=0).update(alone=True)


class Migration(migrations.Migration):
    dependencies = [("school", "0038_expired_papers")]

    operations = [
        migrations.AddField(
            "groundsperson",
            "alone_days",
            models.PositiveSmallIntegerField(
                default=0b1111111, help_text="Weekdays without help: bit 0 is Monday"
            ),
        ),
        migrations.RunPython(by_weekday, whole),
        migrations.RemoveField("groundsperson", "alone"),
        migrations.AddConstraint(
            "groundsperson",
            models.CheckConstraint(
                condition=models.Q(alone_days__gte=0, alone_days__lte=127),
                name="groundsperson_alone_days_known",
                violation_error_message="alone_days must be from 0 to 127",
            ),
        ),
    ]
