from django.db import migrations

from school.models.guards import drop_guards, install_guards


class Migration(migrations.Migration):
    dependencies = [("school", "0001_records")]

    operations = [migrations.RunPython(install_guards, drop_guards)]
