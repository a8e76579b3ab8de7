"""Why a changeover costs what it does, and what stands in the way of a cheaper one.

Asked of one lesson with a grid, the others where the plan has them: what its resets
cost, what its row would cost after each other row, and which other slot, or exchange
of slots with another lesson, would save most if every rule but the arena's own gave
way. The rules and wishes that forbid it are named.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from scheduling.dayplan.chains import CLEAR
from scheduling.dayplan.clashes import Why, clashes
from scheduling.dayplan.day import Day, minutes_at
from scheduling.dayplan.document import read_day
from scheduling.dayplan.settled import Known, Settled, Slot, Slots


class Rule(StrEnum):
    """What forbids a slot, or speaks against it."""

    WINDOW = "window"
    ARENA = "arena"
    PERSON = "person"
    HORSE = "horse"
    MOVES = "moves"


@dataclass(frozen=True, slots=True)
class Obstacle:
    """A rule or wish, the lesson it is of, and the other lesson it is about."""

    rule: Rule
    lesson: str
    other: str | None = None


@dataclass(frozen=True, slots=True)
class Instead:
    """Another slot, or an exchange, and what the day would need less [s].

    Parameters
    ----------
    start_min, arena
        Where the lesson would be.
    saved_s
        Seconds of reset that the day would need less.
    swapped
        The lesson that it would exchange slots with, or None.
    obstacles
        What stands in the way; empty where only the sum of moves and resets speaks
        against it.
    """

    start_min: int
    arena: str
    saved_s: int
    swapped: str | None
    obstacles: tuple[Obstacle, ...]


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a lesson's reset costs what it does.

    Parameters
    ----------
    reset_s
        Seconds of the resets for it.
    bare_s
        Seconds to build its row on a bare line.
    cheapest_s, cheapest_after
        Least seconds of its row after another's, and that lesson; None alone.
    instead
        What would save most, whatever forbids it; None where nothing saves.
    """

    reset_s: int
    bare_s: int
    cheapest_s: int | None
    cheapest_after: str | None
    instead: Instead | None


class Reasons:
    """Answers for the lessons of one plan; what is settled once is kept.

    Parameters
    ----------
    document, plan
        A day file and its plan file.
    """

    def __init__(self, document: Mapping[str, Any], plan: Mapping[str, Any]) -> None:
        self.day = day = read_day(document)
        self.settled = Settled(day)
        self._resets = plan["resets"]
        self._number = {one.id: n for n, one in enumerate(day.lessons)}
        self._rows = {one["id"]: one for one in plan["lessons"]}
        arenas = {one.id: n for n, one in enumerate(day.arenas)}
        self._slots: dict[int, Slot] = {
            n: (
                minutes_at(self._rows[one.id]["start"]),
                arenas[self._rows[one.id]["arena"]],
            )
            for n, one in enumerate(day.lessons)
        }

    def of(self, lesson: str) -> Reason:
        """Return why the resets for a lesson with a grid cost what they do."""
        own, chains = self._number[lesson], self.settled.chains
        name = self._rows[lesson]["line"]
        line = next(k for k, (_, one) in enumerate(chains.lines) if one == name)
        after = [
            (chains.least(line, n, own), one.id)
            for n, one in enumerate(self.day.lessons)
            if n != own and one.grid is not None and chains.runs(n, line)
        ]
        cheapest_s, cheapest_after = min(after, default=(None, None))
        return Reason(
            sum(x["seconds"] for x in self._resets if x["for"] == lesson),
            chains.least(line, CLEAR, own),
            cheapest_s,
            cheapest_after,
            _instead(self.day, self.settled, self._slots, own),
        )


def _instead(day: Day, settled: Settled, slots: Slots, own: int) -> Instead | None:
    """Return the slot or exchange that would save most."""
    now_s = settled.settle(slots).reset_s
    best: tuple[int, int, Slots, int | None] | None = None
    for tries, (there, swapped) in enumerate(_others(day, slots, own)):
        found = settled.settle(there)
        if found.known is Known.IMPOSSIBLE:
            continue
        key = (found.reset_s, tries)
        if found.reset_s < now_s and (best is None or key < best[:2]):
            best = (*key, there, swapped)
    if best is None:
        return None
    reset_s, _, there, swapped = best
    start, arena = there[own]
    moved = [own] if swapped is None else [own, swapped]
    return Instead(
        start,
        day.arenas[arena].id,
        now_s - reset_s,
        None if swapped is None else day.lessons[swapped].id,
        tuple(x for n in moved for x in _obstacles(day, slots, there, n)),
    )


def _others(day: Day, slots: Slots, own: int) -> Iterator[tuple[Slots, int | None]]:
    """Yield the day with the lesson elsewhere, or exchanged with another."""
    one = day.lessons[own]
    every = day.start_every_min
    first = -(-day.opens_min // every) * every
    for start in range(first, day.closes_min - one.minutes + 1, every):
        for arena in range(len(day.arenas)):
            there = {**slots, own: (start, arena)}
            if (start, arena) != slots[own] and _apart(day, there, own):
                yield there, None
    for other in range(len(day.lessons)):
        if other != own and slots[other] != slots[own]:
            there = {**slots, own: slots[other], other: slots[own]}
            if _apart(day, there, own) and _apart(day, there, other):
                yield there, other


def _apart(day: Day, slots: Slots, own: int) -> bool:
    """Say whether a lesson has its arena to itself, and is within opening hours."""
    (start, arena), one = slots[own], day.lessons[own]
    if start < day.opens_min or start + one.minutes > day.closes_min:
        return False
    return not any(
        arena == where
        and start < at + day.lessons[n].minutes
        and at < start + one.minutes
        for n, (at, where) in slots.items()
        if n != own
    )


def _obstacles(day: Day, slots: Slots, there: Slots, own: int) -> Iterator[Obstacle]:
    """Yield what forbids a lesson its new slot, or speaks against it."""
    one, (start, arena) = day.lessons[own], there[own]
    if start not in day.starts(one):
        yield Obstacle(Rule.WINDOW, one.id)
    if day.arenas[arena].id not in one.arenas:
        yield Obstacle(Rule.ARENA, one.id)
    clash = clashes(day, own, there)
    if clash is not None:
        rule = Rule.PERSON if clash[0] is Why.PERSON else Rule.HORSE
        yield Obstacle(rule, one.id, clash[1][0])
    booked = one.booked
    was = slots[own]
    if booked is not None and (
        (booked.start_min == was[0] != start)
        or (booked.arena == day.arenas[was[1]].id and was[1] != arena)
    ):
        yield Obstacle(Rule.MOVES, one.id)
