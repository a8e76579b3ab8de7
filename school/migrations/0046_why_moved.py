from django.db import migrations, models

from school.models.guards import (
    drop_guards,
    drop_may_ride_guards,
    install_guards,
    install_may_ride_guards,
)


class Migration(migrations.Migration):
    dependencies = [("school", "0045_pieces_by_place")]

    operations = [
        migrations.RunPython(drop_may_ride_guards, install_may_ride_guards),
        migrations.RunPython(drop_guards, install_guards),
        migrations.AddField(
            "lesson",
            "moved_reason",
            models.CharField(
                blank=True,
                default="",
                help_text="Why it was moved, as its clients read it",
                max_length=200,
            ),
            preserve_default=False,
        ),
        migrations.RunPython(install_guards, drop_guards),
        migrations.RunPython(install_may_ride_guards, drop_may_ride_guards),
    ]
