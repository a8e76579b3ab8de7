"""What another process needs to work in the database of a test."""

import os
from pathlib import Path
from urllib.parse import quote

from django.db import connection

ROOT = Path(__file__).parents[1]


def surroundings(folder: Path) -> dict[str, str]:
    """Return the environment of a process that works in this test's database."""
    return os.environ | {
        "DJANGO_SETTINGS_MODULE": "school.settings",
        "DATABASE_URL": _database_url(),
        "SCHOOL_VAR": str(folder),
        "PYTHONPATH": str(ROOT),
    }


def _database_url() -> str:
    of = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{of['NAME']}"
    sign_in = f"{of['USER']}:{quote(of['PASSWORD'] or '')}"
    return f"postgres://{sign_in}@{of['HOST']}:{of['PORT']}/{of['NAME']}"
