"""An empty database for a benchmark; imported once Django is set up."""

import os
from pathlib import Path
from shutil import copyfile

from django.core.management import call_command
from django.db import connection


def work_in(path: Path) -> None:
    """Let this process work in a new database: a copy of `MIGRATED`, or a new one."""
    connection.close()
    connection.settings_dict["NAME"] = str(path)
    if kept := os.environ.get("MIGRATED"):
        copyfile(kept, path)
    else:
        call_command("migrate", verbosity=0)
