"""The smallest set of lessons of a day that can't go together, and what frees it.

Found by hitting sets: whatever can't go together shares a lesson with every rest
that has to be left out to make the others possible. A smallest set that meets all
rests found so far is either the answer, or shows one more day that is possible.
Exact where the engine is: a set is only called impossible on its proof.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from scheduling.dayplan.clashes import clashes
from scheduling.dayplan.day import clock, minutes_at
from scheduling.dayplan.document import read_day
from scheduling.dayplan.order import order_day
from scheduling.dayplan.settled import Known, Settled, Slot

Data = dict[str, Any]
Impossible = Callable[[Data], bool]
"""Says whether no order of a day file keeps every rule, by proof."""


@dataclass(frozen=True, slots=True)
class Cure:
    """One change that lets a set go together: its rule, and the lesson it is of.

    `rule` is one of `cancel`, `window`, `arenas`, `people`, `horses`, `crew`, `hours`,
    `line` and `store`.
    """

    rule: str
    lesson: str | None = None


@dataclass(frozen=True, slots=True)
class Conflict:
    """Lessons that can't go together, fewest possible, and what frees them."""

    lessons: tuple[str, ...]
    cures: tuple[Cure, ...]


def smallest_conflict(
    document: Mapping[str, Any], *, impossible: Impossible | None = None
) -> Conflict | None:
    """Return the smallest set of lessons that can't go together; None if all can.

    Parameters
    ----------
    document
        A day file.
    impossible
        Asked of days with some of the lessons; the engine unless said. What it can't
        prove impossible counts as possible.

    Notes
    -----
    Implicit hitting sets as for smallest unsatisfiable subsets: A. Ignatiev,
    A. Previti, M. Liffiton, J. Marques-Silva, "Smallest MUS Extraction with Minimal
    Hitting Set Dualization", CP 2015 (from memory, not looked up).
    """
    asked = _Asked(document, impossible or proved_impossible)
    everyone = tuple(one["id"] for one in document["lessons"])
    if asked.possible(everyone):
        return None
    rests: list[frozenset[str]] = []
    while True:
        chosen = _least_hitting(rests)
        if not asked.possible(chosen):
            names = tuple(one for one in everyone if one in chosen)
            return Conflict(names, _cures(document, names, asked.impossible))
        together = list(chosen)
        for one in everyone:
            if one not in chosen and asked.possible((*together, one)):
                together.append(one)
        rests.append(frozenset(everyone) - frozenset(together))


def _least_hitting(sets: list[frozenset[str]]) -> tuple[str, ...]:
    """Return a smallest set that has a member in common with each."""
    size = 0
    while True:
        found = _hit(sets, size, ())
        if found is not None:
            return found
        size += 1


def _hit(
    sets: list[frozenset[str]], size: int, chosen: tuple[str, ...]
) -> tuple[str, ...] | None:
    missed = next((one for one in sets if not one & set(chosen)), None)
    if missed is None:
        return chosen
    if size == 0:
        return None
    for one in sorted(missed):
        found = _hit(sets, size - 1, (*chosen, one))
        if found is not None:
            return found
    return None


class _Asked:
    """Asks of each set of lessons once, the engine only where it must."""

    def __init__(self, document: Mapping[str, Any], impossible: Impossible) -> None:
        self.document, self.impossible = document, impossible
        self.day = read_day(document)
        self.number = {one.id: n for n, one in enumerate(self.day.lessons)}
        self.settled = Settled(self.day)
        self.known: dict[frozenset[str], bool] = {}

    def possible(self, lessons: Iterable[str]) -> bool:
        its = frozenset(lessons)
        if its not in self.known:
            self.known[its] = self._as_booked(its) or not self.impossible(
                only(self.document, its)
            )
        return self.known[its]

    def _as_booked(self, lessons: frozenset[str]) -> bool:
        """Say whether they are surely possible just as they are booked."""
        arenas = {arena.id: n for n, arena in enumerate(self.day.arenas)}
        slots: dict[int, Slot] = {}
        minutes: dict[str, list[int]] = {}
        for name in lessons:
            one = self.day.lessons[self.number[name]]
            at = one.booked
            if at is None or at.start_min not in self.day.starts(one):
                return False
            if at.arena not in one.arenas:
                return False
            slots[self.number[name]] = (at.start_min, arenas[at.arena])
            for horse in one.horses:
                minutes.setdefault(horse, []).append(one.minutes)
        for horse, its in minutes.items():
            limits = self.day.horses[horse]
            if limits.max_lessons is not None and len(its) > limits.max_lessons:
                return False
            if limits.max_minutes is not None and sum(its) > limits.max_minutes:
                return False
        if any(clashes(self.day, n, slots) for n in slots):
            return False
        return self.settled.settle(slots).known is Known.EXACT


def only(document: Mapping[str, Any], lessons: Iterable[str]) -> Data:
    """Return a day file with some of its lessons."""
    its = set(lessons)
    return {
        **document,
        "lessons": [one for one in document["lessons"] if one["id"] in its],
    }


def proved_impossible(document: Data) -> bool:
    """Say whether the engine proves that no order of a day file keeps every rule."""
    plan = order_day(document, seconds=3)
    proof = [one for one in plan["broken"] if one["rule"] == "time"]
    return plan["status"] == "impossible" and not proof


def _cures(
    document: Mapping[str, Any], names: tuple[str, ...], impossible: Impossible
) -> tuple[Cure, ...]:
    """Return the single changes after which the set can go together."""
    day = only(document, names)
    tried: list[tuple[Cure, Data]] = []
    for name in names:
        whole_day = {
            "not_before": document["opens"],
            "not_after": clock(
                minutes_at(document["closes"])
                - next(x["minutes"] for x in day["lessons"] if x["id"] == name)
            ),
        }
        everywhere = {"arenas": [one["id"] for one in document["arenas"]]}
        tried.append((Cure("window", name), _changed(day, name, whole_day)))
        tried.append((Cure("arenas", name), _changed(day, name, everywhere)))
        tried.append((Cure("people", name), _changed(day, name, {"people": []})))
        tried.append((Cure("horses", name), _changed(day, name, {"horses": []})))
    tried += [
        (Cure("crew"), {**day, "crew": day.get("crew", 1) + 1}),
        (Cure("hours"), {**day, "crew_from": "00:00", "crew_to": "24:00"}),
        (Cure("line"), with_second_lines(day)),
        (Cure("store"), {**day, "stock": {}}),
    ]
    cures = [Cure("cancel", name) for name in names]
    return (*cures, *(cure for cure, changed in tried if not impossible(changed)))


def _changed(document: Data, lesson: str, change: Data) -> Data:
    lessons = [
        {**one, **change} if one["id"] == lesson else one for one in document["lessons"]
    ]
    return {**document, "lessons": lessons}


def with_second_lines(document: Mapping[str, Any]) -> Data:
    """Return a day file in which each arena with one line has a second like it."""
    arenas = []
    for arena in document["arenas"]:
        lines = list(arena.get("lines", []))
        if len(lines) == 1:
            second = {**lines[0], "id": f"{lines[0]['id']}, second", "standing": []}
            lines.append(second)
        arenas.append({**arena, "lines": lines})
    return {**document, "arenas": arenas}
