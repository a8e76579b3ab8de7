from django.db import migrations

from school.models.guards import drop_may_ride_guards, install_may_ride_guards


class Migration(migrations.Migration):
    dependencies = [("school", "0040_mail_of_consents")]

    operations = [
        migrations.RunPython(install_may_ride_guards, drop_may_ride_guards),
    ]
