from django.db import migrations

from school.models.guards import drop_guards, install_guards


class Migration(migrations.Migration):
    """SQLite's guard took a holding without an end for one that is over.

    Its columns are compared as numbers where they can be: a bare year was one.
    """

    dependencies = [("school", "0024_where_it_lies")]

    operations = [
        migrations.RunPython(drop_guards, install_guards),
        migrations.RunPython(install_guards, drop_guards),
    ]
