"""A table sent by the manager: tried, mapped, brought in, and forgotten."""

from collections.abc import Sequence
from dataclasses import astuple
from datetime import datetime, timedelta
from hashlib import sha256

from django.db import transaction

from school.models import Account, TableFile
from school.services.audit import record
from school.services.bringing.fates import CHANGED, NEW, REFUSED, Fate, Hand
from school.services.bringing.horses import bring_horses
from school.services.bringing.instructors import bring_instructors
from school.services.bringing.lessons import bring_lessons
from school.services.bringing.people import bring_people
from school.tables.cells import Reading
from school.tables.columns import (
    TABLES,
    TO_MEND,
    Kind,
    mapping_of,
    missing,
    names_of,
    read_row,
)
from school.tables.files import InvalidTable, read_table
from school.tables.writing import as_csv

KEPT = timedelta(days=2)
"""How long a file is kept after it came, or after it was brought in."""

MOST_LESSONS = 300
"""Lessons are booked one by one, by every rule, about seventy a second; meanwhile
nobody else can write on SQLite, so a file has no more."""

_BRING = {
    Kind.HORSES: bring_horses,
    Kind.PEOPLE: bring_people,
    Kind.INSTRUCTORS: bring_instructors,
    Kind.LESSONS: bring_lessons,
}


class UnableToBringIn(ValueError):
    """A file that is not brought in: a code, and why in plain words."""

    def __init__(self, code: str, says: str) -> None:
        super().__init__(says)
        self.code = code
        self.says = says


def take_file(
    *,
    kind: Kind,
    name: str,
    body: bytes,
    by: Account,
    now: datetime,
    day_first: bool = True,
    tell: bool = False,
) -> TableFile:
    """Read a file and try every row; nothing of it is written. Twice is once.

    Raises
    ------
    UnableToBringIn
        For a file that is no table.
    """
    forget_old_files(now=now)
    digest = sha256(body).hexdigest()
    known = TableFile.objects.filter(
        kind=kind, digest=digest, sent_by=by, applied_at=None, day_first=day_first,
        tell=tell,
    ).first()  # fmt: skip
    if known is not None:
        return _tried(known, by, now)
    try:
        sheet = read_table(body, names_of(kind))
    except InvalidTable as error:
        raise UnableToBringIn("file", str(error)) from error
    if kind is Kind.LESSONS and len(sheet.rows) > MOST_LESSONS:
        raise UnableToBringIn(
            "lessons",
            f"The file has {len(sheet.rows)} lessons; {MOST_LESSONS} at most in one. "
            "Split it into parts.",
        )
    file = TableFile(
        kind=kind,
        name=name[-120:],
        digest=digest,
        sent_by=by,
        sent_at=now,
        expires_at=now + KEPT,
        headers=list(sheet.headers),
        rows=[list(one) for one in sheet.rows],
        numbers=list(sheet.numbers),
        mapping=mapping_of(kind, sheet.headers),
        day_first=day_first,
        tell=tell,
    )
    return _tried(file, by, now)


def map_columns(
    *, file: TableFile, mapping: Sequence[str], by: Account, now: datetime
) -> TableFile:
    """Say what each column of a file is, "" for one that is left out; try again."""
    kind = Kind(file.kind)
    known = {one.key for one in TABLES[kind]}
    given = [one for one in mapping if one]
    if len(mapping) != len(file.headers) or not set(given) <= known:
        raise UnableToBringIn("mapping", "The columns are not those of the file.")
    twice = sorted({one.title for one in TABLES[kind] if given.count(one.key) > 1})
    if twice:
        raise UnableToBringIn(
            "mapping", f"Two columns are said to be {', '.join(twice)}. Choose one."
        )
    with transaction.atomic():
        fresh = _to_bring(file)
        fresh.mapping = list(mapping)
        return _tried(fresh, by, now)


def bring_in(
    *, file: TableFile, set_aside: bool, by: Account, now: datetime
) -> TableFile:
    """Write what the trial showed, all of it or nothing; doing it twice is once.

    Raises
    ------
    UnableToBringIn
        Where rows are refused and `set_aside` is false, and where what is here
        changed since the trial; the new trial is then kept.
    """
    with transaction.atomic():
        fresh = TableFile.objects.select_for_update().get(pk=file.pk)
        if fresh.applied_at is not None:
            return fresh
        shown = fresh.fates
        refused = sum(what == REFUSED for _, what, _ in shown)
        if refused and not set_aside:
            rows = "row" if refused == 1 else "rows"
            raise UnableToBringIn(
                "refused",
                f"{refused} {rows} can't be brought in. Mend what is wrong, or say "
                "that it is set aside.",
            )
        with transaction.atomic():
            fates = _fates(fresh, by, now)
            same = [list(astuple(one)) for one in fates] == shown
            if not same:
                transaction.set_rollback(True)
        if same:
            fresh.applied_at, fresh.expires_at = now, now + KEPT
            fresh.save()
            record(
                by=by, at=now, action="bring in", subject=fresh,
                after={"file": fresh.name, "digest": fresh.digest, **counted(fresh)},
            )  # fmt: skip
            return fresh
        _keep(fresh, fates)
    raise UnableToBringIn(
        "changed-meanwhile",
        "Something here changed since the trial, so nothing was brought in. This is "
        "what would become of the rows now; look again.",
    )


def forget_file(*, file: TableFile) -> None:
    """Forget a file; what it brought in stays."""
    TableFile.objects.filter(pk=file.pk).delete()


def forget_old_files(*, now: datetime) -> int:
    """Forget the files whose time is over; they hold what is nobody else's business."""
    return TableFile.objects.filter(expires_at__lte=now).delete()[0]


def counted(file: TableFile) -> dict[str, int]:
    """Return how many rows are new, changed, the same, and refused."""
    counts = {NEW: 0, CHANGED: 0, "same": 0, REFUSED: 0}
    for _, what, _ in file.fates:
        counts[what] += 1
    return counts


def set_aside_file(file: TableFile) -> bytes:
    """Return the refused rows as they came, with a last column that says what to mend.

    Mended, it is read like any other file: that column is left out.
    """
    says = {number: words for number, what, words in file.fates if what == REFUSED}
    keep = [n for n, header in enumerate(file.headers) if header != TO_MEND]
    rows = [
        [*(row[n] for n in keep), says[number]]
        for number, row in zip(file.numbers, file.rows, strict=True)
        if number in says
    ]
    return as_csv([*(file.headers[n] for n in keep), TO_MEND], rows)


def _to_bring(file: TableFile) -> TableFile:
    fresh = TableFile.objects.select_for_update().get(pk=file.pk)
    if fresh.applied_at is not None:
        raise UnableToBringIn("done", "The file was brought in already.")
    return fresh


def _tried(file: TableFile, by: Account, now: datetime) -> TableFile:
    """Try every row for real and undo it all, so that the trial says what will be."""
    with transaction.atomic():
        fates = _fates(file, by, now)
        transaction.set_rollback(True)
    _keep(file, fates)
    return file


def _keep(file: TableFile, fates: Sequence[Fate]) -> None:
    file.fates = [list(astuple(one)) for one in fates]
    file.save()


def _fates(file: TableFile, by: Account, now: datetime) -> list[Fate]:
    kind, how = Kind(file.kind), Reading(day_first=file.day_first)
    lacking = missing(kind, file.mapping)
    if lacking and "reference" not in file.mapping:
        says = f"No column is said to be {', '.join(lacking)}."
        return [Fate(number, REFUSED, says) for number in file.numbers]
    rows = [
        read_row(kind, file.mapping, cells, number, how)
        for cells, number in zip(file.rows, file.numbers, strict=True)
    ]
    return _BRING[kind](rows, Hand(by, now, file.tell))
