"""What becomes of each row of a table, and how a row finds what it speaks of."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from school.models import Account, AuditEntry, OwnReference
from school.queries.tables import HERE
from school.tables.cells import as_cell, same_name, tidy
from school.tables.columns import REFERENCE, TABLES, Kind, Row

NEW, CHANGED, SAME, REFUSED = "new", "changed", "same", "refused"


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of a row, with the words that say why or what changes."""

    number: int
    what: str
    says: str = ""


class Refused(ValueError):
    """A row that is not brought in; the words say what to mend."""


@dataclass(slots=True)
class Known:
    """What the references of a kind stand for, and what this file has named so far."""

    attribute: str
    by_text: dict[str, int]
    of_key: dict[int, str]
    seen: dict[object, int] = field(default_factory=dict)
    new: list[OwnReference] = field(default_factory=list)

    @classmethod
    def of(cls, attribute: str) -> "Known":
        """Read the references of horses, riders or lessons, in one query."""
        pairs = list(
            OwnReference.objects.filter(**{f"{attribute}__isnull": False}).values_list(
                "text", f"{attribute}_id"
            )
        )
        return cls(attribute, dict(pairs), {key: text for text, key in pairs})

    def key_by_reference(self, row: Row) -> int | None:
        """Return the key that a row's reference stands for, None where it is new."""
        text = str(row.values.get(REFERENCE, ""))
        if text.startswith(HERE) and text[len(HERE) :].isdecimal():
            return int(text[len(HERE) :])
        return self.by_text.get(text)

    def once(self, row: Row, *marks: object) -> None:
        """Refuse a second row that speaks of the same thing."""
        for mark in marks:
            if mark in self.seen:
                raise Refused(
                    f"Row {self.seen[mark]} speaks of the same; keep one of the two."
                )
        for mark in marks:
            self.seen[mark] = row.number

    def new_reference(self, row: Row, key: int | None, name: str) -> str:
        """Return the reference that a row gives to what has none yet, else ""."""
        text = str(row.values.get(REFERENCE, ""))
        if not text or (text.startswith(HERE) and key is not None):
            return ""
        if key is None:
            return text
        known = self.of_key.get(key)
        if known is not None and known != text:
            raise Refused(
                f"{name} has the reference {known} here, not {text}. Mend the one "
                "that is wrong."
            )
        return "" if known == text else text

    def refer(self, text: str, thing: Any) -> None:
        """Note a new reference, to be written with the others."""
        if text:
            self.new.append(OwnReference(text=text, **{self.attribute: thing}))


def judged(row: Row, judge: Callable[[Row], Fate]) -> Fate:
    """Return what a row comes to, also where it is refused."""
    try:
        return judge(row)
    except Refused as refusal:
        return Fate(row.number, REFUSED, str(refusal))


def as_one_name(first: object, last: object) -> str:
    """Return somebody's name for comparison."""
    return same_name(f"{first} {last}")


def check_faults(row: Row) -> None:
    """Refuse a row with cells that can't be read."""
    if row.faults:
        raise Refused(" ".join(row.faults))


def check_needed(kind: Kind, row: Row) -> None:
    """Refuse what is new and lacks a needed cell, naming each."""
    lacking = [
        one.title for one in TABLES[kind] if one.needed and one.key not in row.values
    ]
    if lacking:
        raise Refused(f"{', '.join(lacking)}: empty, and needed for what is new.")


def changes_of(
    kind: Kind, thing: object, values: Mapping[str, Any], names: Mapping[str, str]
) -> list[str]:
    """Set what a row says on a thing; return each change in words.

    `names` has the thing's field of each column that speaks of it.
    """
    titles = {one.key: one.title for one in TABLES[kind]}
    said = []
    for key, name in names.items():
        if key not in values:
            continue
        old, new = getattr(thing, name), values[key]
        if (tidy(old) if isinstance(old, str) else old) == new:
            continue
        setattr(thing, name, new)
        said.append(f"{titles[key]} {_short(old)} → {_short(new)}")
    return said


def _short(value: object) -> str:
    words = as_cell(value) or "nothing"
    return words if len(words) <= 40 else f"{words[:39]}…"


@dataclass(frozen=True, slots=True)
class Hand:
    """Who brings a table in, when, and whether clients are written to."""

    by: Account | None
    now: datetime
    tell: bool = False


def write_down(entries: Sequence[AuditEntry], known: Known) -> None:
    """Write the audit and the references of a table, each in one go."""
    OwnReference.objects.bulk_create(known.new, batch_size=200)
    AuditEntry.objects.bulk_create(entries, batch_size=200)
