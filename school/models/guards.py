"""Rules over several rows that the database keeps, whoever writes.

No arena, horse or person is held twice at once; no ride on a horse under age,
none beyond a lesson's places; no line longer than its arena; no pack pays for more
lessons than it has; no two terms at once. PostgreSQL keeps
the first with an exclusion constraint, SQLite with triggers, since its one
writer at a time leaves no race. Nobody is booked who is stopped, too young, or under
age without a guardian's consent for that day, nor on a horse that is noted as never
again; and no more are led at once than lead. What was booked before a stop, or before
a consent was withdrawn, stays, as its pages say.

A migration that alters one of the guarded tables calls `drop_guards` before
and `install_guards` after: SQLite rebuilds a table to alter it, and its
triggers are gone with the old one. Those of packs and of instructors' absences stand
by themselves (`install_pack_guards`, `install_absence_guards`), since their tables
came later. Those of who may ride (`install_may_ride_guards`) read the school, riders,
stops, consents, likings, lessons and rides: SQLite says "error in view" where one of
these is altered without dropping them first.
"""

from pathlib import Path
from typing import Any

SQL = Path(__file__).parent / "sql"


def install_guards(apps: Any, schema_editor: Any) -> None:
    """Create the guards; for a migration's RunPython."""
    _run(schema_editor, "install")


def drop_guards(apps: Any, schema_editor: Any) -> None:
    """Drop the guards; for a migration's RunPython."""
    _run(schema_editor, "drop")


def install_pack_guards(apps: Any, schema_editor: Any) -> None:
    """Create the guards of packs; for a migration's RunPython."""
    _run(schema_editor, "packs_install")


def drop_pack_guards(apps: Any, schema_editor: Any) -> None:
    """Drop the guards of packs; for a migration's RunPython."""
    _run(schema_editor, "packs_drop")


def install_absence_guards(apps: Any, schema_editor: Any) -> None:
    """Create the guards of absences; for a migration's RunPython."""
    _run(schema_editor, "absences_install")


def drop_absence_guards(apps: Any, schema_editor: Any) -> None:
    """Drop the guards of absences; for a migration's RunPython."""
    _run(schema_editor, "absences_drop")


def install_term_guards(apps: Any, schema_editor: Any) -> None:
    """Create the guards of terms; for a migration's RunPython."""
    _run(schema_editor, "terms_install")


def drop_term_guards(apps: Any, schema_editor: Any) -> None:
    """Drop the guards of terms; for a migration's RunPython."""
    _run(schema_editor, "terms_drop")


def install_may_ride_guards(apps: Any, schema_editor: Any) -> None:
    """Create the guards of who may ride; for a migration's RunPython."""
    _run(schema_editor, "may_ride_install")


def drop_may_ride_guards(apps: Any, schema_editor: Any) -> None:
    """Drop the guards of who may ride; for a migration's RunPython."""
    _run(schema_editor, "may_ride_drop")


def _run(schema_editor: Any, action: str) -> None:
    vendor = schema_editor.connection.vendor
    text = (SQL / f"{vendor}_{action}.sql").read_text()
    if vendor == "postgresql":
        schema_editor.execute(text, params=None)
        return
    # SQLite's driver takes one statement at a time; blank lines part them.
    parted = "\n\n" if action.endswith("install") else "\n"
    for statement in text.split(parted):
        if statement.strip():
            schema_editor.execute(statement, params=None)
