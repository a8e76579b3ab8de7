"""A table sent and brought in at once, for tests."""

from school.services.table_files import (
    bring_in,
    take_file,
)
from tests.clock import NOW
from tests.factories.tables import as_file


def take(kind, rows, by, **changes):
    body = rows if isinstance(rows, bytes) else as_file(rows)
    return take_file(kind=kind, name="t.csv", body=body, by=by, now=NOW, **changes)


def bring(kind, rows, by, *, set_aside=False, **changes):
    file = take(kind, rows, by, **changes)
    return bring_in(file=file, set_aside=set_aside, by=by, now=NOW)


def says(file) -> list[str]:
    return [words for _, _, words in file.fates]


def whats(file) -> list[str]:
    return [what for _, what, _ in file.fates]
