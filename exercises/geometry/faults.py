"""Faults of horse and rider, and what the trade changes for them: read from data."""

import tomllib
from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from exercises.geometry.elements import Side


@dataclass(frozen=True, slots=True)
class Remedy:
    """One remedy of a fault, by the trade; `do` names the change, if it is one."""

    says: str
    who: str
    grade: str
    do: str = ""
    against: str = ""


@dataclass(frozen=True, slots=True)
class Fault:
    """What a horse or rider does, with its remedies, the smallest change first."""

    slug: str
    name: str
    remedies: tuple[Remedy, ...]
    note: str = ""
    side: Side | None = None


@dataclass(frozen=True, slots=True)
class Faults:
    """Every fault, and what comes before any remedy."""

    first: Remedy
    faults: tuple[Fault, ...]

    def by_slug(self, slug: str) -> Fault | None:
        """Return a fault by its slug, or None."""
        return next((one for one in self.faults if one.slug == slug), None)


class InvalidFaults(ValueError):
    """A file of faults that can't be read: says where and what."""


def read_faults(path: Path, changes: Collection[str]) -> Faults:
    """Read the faults and remedies of a file, which may use these changes.

    Raises
    ------
    InvalidFaults
        For a broken file, an unknown change, or a fault that is the same as none.
    """
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
        first = Remedy(**data["first"])
        faults: dict[str, Fault] = {}
        for one in data["fault"]:
            faults[one["slug"]] = _fault(one, faults)
    except (ValueError, KeyError, TypeError) as error:
        raise InvalidFaults(f"{path.name}: {error}") from error
    for fault in faults.values():
        for remedy in fault.remedies:
            if remedy.do and remedy.do not in changes:
                raise InvalidFaults(
                    f"{path.name}: {fault.slug}: no change {remedy.do!r}; known are "
                    f"{', '.join(sorted(changes))}"
                )
    return Faults(first, tuple(faults.values()))


def _fault(one: dict[str, Any], known: dict[str, Fault]) -> Fault:
    side = Side(one["side"]) if "side" in one else None
    if "same_as" in one:
        like = known[one["same_as"]]
        return replace(like, slug=one["slug"], name=one["name"], side=side)
    remedies = tuple(Remedy(**remedy) for remedy in one["remedy"])
    return Fault(one["slug"], one["name"], remedies, one.get("note", ""), side)
