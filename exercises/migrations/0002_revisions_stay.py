from django.db import migrations

INSTALL = {
    "sqlite": [
        "CREATE TRIGGER exercises_revision_stays BEFORE UPDATE OF spec, number"
        " ON exercises_exerciserevision WHEN NEW.spec <> OLD.spec"
        " OR NEW.number <> OLD.number"
        " BEGIN SELECT RAISE(ABORT, 'revision_never_changed'); END"
    ],
    "postgresql": [
        "CREATE FUNCTION exercises_revision_stays() RETURNS trigger AS $$"
        " BEGIN IF NEW.spec <> OLD.spec OR NEW.number <> OLD.number THEN"
        " RAISE EXCEPTION 'revision_never_changed' USING ERRCODE ="
        " 'check_violation', CONSTRAINT = 'revision_never_changed';"
        " END IF; RETURN NEW; END $$ LANGUAGE plpgsql",
        "CREATE TRIGGER exercises_revision_stays BEFORE UPDATE"
        " ON exercises_exerciserevision FOR EACH ROW"
        " EXECUTE FUNCTION exercises_revision_stays()",
    ],
}
DROP = {
    "sqlite": ["DROP TRIGGER exercises_revision_stays"],
    "postgresql": [
        "DROP TRIGGER exercises_revision_stays ON exercises_exerciserevision",
        "DROP FUNCTION exercises_revision_stays()",
    ],
}


def install(apps, schema_editor):
    for statement in INSTALL[schema_editor.connection.vendor]:
        schema_editor.execute(statement, params=None)


def drop(apps, schema_editor):
    for statement in DROP[schema_editor.connection.vendor]:
        schema_editor.execute(statement, params=None)


class Migration(migrations.Migration):
    dependencies = [("exercises", "0001_records")]

    operations = [migrations.RunPython(install, drop)]
