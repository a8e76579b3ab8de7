"""Horses from a table: new ones, and changes of those that are here."""

from collections.abc import Sequence
from datetime import date
from typing import Any, cast
from zoneinfo import ZoneInfo

from school.models import AuditEntry, Horse, HorseDayOff, School
from school.queries.schools import the_school
from school.queries.tables import days_off
from school.services.audit import entry_of, snapshot
from school.services.bringing.fates import (
    CHANGED,
    NEW,
    SAME,
    Fate,
    Hand,
    Known,
    Refused,
    changes_of,
    check_faults,
    check_needed,
    judged,
    write_down,
)
from school.tables.cells import same_name, weekdays_as_cell
from school.tables.columns import HORSES, REFERENCE, Kind, Row

_BESIDE = {REFERENCE, "days_off"}
"""Columns that are no field of a horse."""

_NAMES = {one.key: one.key for one in HORSES if one.key not in _BESIDE}


def bring_horses(rows: Sequence[Row], hand: Hand) -> list[Fate]:
    """Bring in the rows that can be; the caller's transaction decides whether to stay.

    A horse is found by the school's own reference, else by its name. An empty cell
    leaves things as they are. Queries do not grow with the rows.
    """
    bringing = _Horses(hand)
    fates = [bringing.fate(row) for row in rows]
    bringing.write()
    return fates


class _Horses:
    def __init__(self, hand: Hand) -> None:
        self.hand = hand
        self.school: School = the_school()
        zone = ZoneInfo(self.school.zone)
        self.today: date = hand.now.astimezone(zone).date()
        self.known = Known.of("horse")
        self.here = {one.pk: one for one in Horse.objects.order_by("pk")}
        self.by_name: dict[str, list[Horse]] = {}
        for one in self.here.values():
            self.by_name.setdefault(same_name(one.name), []).append(one)
        self.off = days_off()
        self.days_off: list[tuple[Horse, tuple[int, ...]]] = []
        self.new: list[Horse] = []
        self.changed: list[tuple[Horse, dict[str, Any]]] = []

    def fate(self, row: Row) -> Fate:
        return judged(row, self._fate)

    def _fate(self, row: Row) -> Fate:
        check_faults(row)
        horse = self._find(row)
        if horse is None:
            return self._add(row)
        reference = self.known.new_reference(row, horse.pk, horse.name)
        name = same_name(str(row.values.get("name", horse.name)))
        marks: list[object] = [horse.pk]
        if name != same_name(horse.name):
            if name in self.by_name:
                raise Refused(f"Another horse is called {row.values['name']} here.")
            marks.append(("name", name))
        self._check_born(row)
        self.known.once(row, *marks)
        before = snapshot(horse)
        said = changes_of(Kind.HORSES, horse, row.values, _NAMES)
        if horse.born_date != date.fromisoformat(str(before["born_date"])):
            horse.bookable_from_date = self._bookable_from(horse.born_date)
        self.known.refer(reference, horse)
        if said:
            self.changed.append((horse, before))
        said += self._set_days_off(row, horse)
        if reference:
            said.append(f"reference {reference}")
        return Fate(row.number, CHANGED if said else SAME, "; ".join(said))

    def _find(self, row: Row) -> Horse | None:
        key = self.known.key_by_reference(row)
        if key is not None:
            if key not in self.here:
                raise Refused(
                    f"There is no horse {row.values[REFERENCE]} here. Leave the "
                    "reference empty for a new one."
                )
            return self.here[key]
        found = self.by_name.get(same_name(str(row.values.get("name", ""))), [])
        if len(found) > 1:
            raise Refused(
                f"{len(found)} horses are called {row.values['name']} here. Say which "
                "by the reference that the written file has."
            )
        return found[0] if found else None

    def _add(self, row: Row) -> Fate:
        check_needed(Kind.HORSES, row)
        self._check_born(row)
        values = dict(row.values)
        reference = self.known.new_reference(row, None, "")
        marks: list[object] = [("name", same_name(str(values["name"])))]
        self.known.once(row, *marks, *([("reference", reference)] if reference else []))
        horse = Horse(**{key: values[key] for key in values if key not in _BESIDE})
        self._set_days_off(row, horse)
        horse.bookable_from_date = self._bookable_from(horse.born_date)
        self.new.append(horse)
        self.known.refer(reference, horse)
        return Fate(row.number, NEW)

    def _set_days_off(self, row: Row, horse: Horse) -> list[str]:
        """Note the days off a row says; the cell is all of them."""
        wanted = row.values.get("days_off")
        old = self.off.get(horse.pk, ()) if horse.pk else ()
        if wanted is None or wanted == old:
            return []
        days = cast("tuple[int, ...]", wanted)
        self.days_off.append((horse, days))
        was = weekdays_as_cell(old) or "nothing"
        return [f"Days off {was} → {weekdays_as_cell(days)}"]

    def _check_born(self, row: Row) -> None:
        born = row.values.get("born_date")
        if isinstance(born, date) and not 0 <= self.today.year - born.year <= 60:
            raise Refused(f"Born {born.isoformat()} can't be right for a horse.")

    def _bookable_from(self, born: date) -> date:
        """Return the day a horse reaches the school's least age."""
        year = born.year + self.school.min_horse_age_years
        try:
            return born.replace(year=year)
        except ValueError:  # 29 February
            return date(year, 3, 1)

    def write(self) -> None:
        Horse.objects.bulk_create(self.new, batch_size=200)
        horses = [one for one, _ in self.changed]
        if horses:
            fields = [*_NAMES, "bookable_from_date"]
            Horse.objects.bulk_update(horses, fields, batch_size=50)
        horses = [one for one, _ in self.days_off]
        HorseDayOff.objects.filter(horse__in=horses).delete()
        HorseDayOff.objects.bulk_create(
            HorseDayOff(horse=one, weekday=day)
            for one, days in self.days_off
            for day in days
        )
        by, at = self.hand.by, self.hand.now
        entries: list[AuditEntry] = [
            entry_of(by=by, at=at, action="bring in", subject=one, after=snapshot(one))
            for one in self.new
        ]
        entries += [
            entry_of(
                by=by, at=at, action="bring in", subject=one, before=before,
                after=snapshot(one),
            )
            for one, before in self.changed
        ]  # fmt: skip
        entries += [
            entry_of(
                by=by, at=at, action="days off", subject=one,
                before={"days_off": weekdays_as_cell(self.off.get(one.pk, ()))},
                after={"days_off": weekdays_as_cell(days)},
            )
            for one, days in self.days_off
        ]  # fmt: skip
        write_down(entries, self.known)
