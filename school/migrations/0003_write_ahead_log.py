from django.db import migrations


def write_ahead(apps, schema_editor):
    """Let readers read while one writes; SQLite keeps this in the file."""
    if schema_editor.connection.vendor == "sqlite":
        with schema_editor.connection.cursor() as cursor:
            cursor.execute("PRAGMA journal_mode=WAL")


class Migration(migrations.Migration):
    # The journal can't be changed inside a transaction.
    atomic = False

    dependencies = [("school", "0002_guards")]

    operations = [migrations.RunPython(write_ahead, migrations.RunPython.noop)]
