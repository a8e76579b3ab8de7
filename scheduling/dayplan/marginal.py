"""What a lesson that might be booked adds to the resets, for every slot of a day.

The others stay at their starts and in their arenas; lines, places and resets are
chosen anew, exactly, as in a plan with the day `as booked`. What is asked of a slot
is the difference between the least resets of the day with the lesson there and
those of the day without it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from scheduling.dayplan.clashes import Why, booked_slots, clashes, over_limits
from scheduling.dayplan.day import clock
from scheduling.dayplan.document import read_day
from scheduling.dayplan.order import order_day
from scheduling.dayplan.settled import Known, Settled, Slots


@dataclass(frozen=True, slots=True)
class Offer:
    """A slot, and what the lesson adds there.

    Parameters
    ----------
    start_min, arena
        Start [min of the day] and the arena's id.
    added_s
        Seconds of reset that it adds (below 0: it saves some); None where it can't
        be.
    why, lessons
        What stands in its way there, and the lessons it clashes with, by id.
    """

    start_min: int
    arena: str
    added_s: int | None
    why: Why | None = None
    lessons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Offers:
    """Every slot of a day for one lesson.

    Parameters
    ----------
    reset_s
        Least resets of the day without it [s]; None if the day as booked keeps no
        plan, and then no slot is offered.
    slots
        By start, then in the order of the arenas.
    """

    reset_s: int | None
    slots: tuple[Offer, ...]


def marginal_costs(
    document: Mapping[str, Any],
    lesson: Mapping[str, Any],
    *,
    ask: Callable[[Mapping[str, Any]], dict[str, Any]] | None = None,
) -> Offers:
    """Return what a lesson adds in each slot that its window and arenas allow.

    Parameters
    ----------
    document
        A day file in which every lesson is booked, the new one not among them.
    lesson
        The one that might be booked, as in a day file; its `booked` is not read.
    ask
        Makes the plan of a day file as booked, where settling alone does not tell;
        the engine unless said.

    Raises
    ------
    InvalidDay
        If the day file or the lesson is refused.
    """
    given = [*document["lessons"], {**lesson, "booked": None}]
    day = read_day({**document, "lessons": given})
    new = len(day.lessons) - 1
    lookup = _Lookup(document, lesson, Settled(day), ask or ask_the_engine)
    slots = booked_slots(replace(day, lessons=day.lessons[:new]))
    base = None if slots is None else lookup.least(slots, None)
    if slots is None or base is None:
        return Offers(None, ())
    over = over_limits(day, new)
    offers = []
    for start in day.starts(day.lessons[new]):
        for number, arena in enumerate(day.arenas):
            if arena.id not in day.lessons[new].arenas:
                continue
            there = slots | {new: (start, number)}
            clash = over or clashes(day, new, there)
            least = None if clash else lookup.least(there, (start, arena.id))
            if clash is None and least is None:
                clash = (Why.RESETS, ())
            why, whose = clash or (None, ())
            added = None if least is None else least - base
            offers.append(Offer(start, arena.id, added, why, whose))
    return Offers(base, tuple(offers))


def reset_as_booked(
    document: Mapping[str, Any],
    *,
    ask: Callable[[Mapping[str, Any]], dict[str, Any]] | None = None,
) -> int | None:
    """Return the least resets of a day with every lesson as booked [s].

    None where the day as booked keeps no plan.

    Parameters
    ----------
    document
        A day file in which every lesson is booked.
    ask
        As in `marginal_costs`.

    Raises
    ------
    InvalidDay
        If the day file is refused.
    """
    day = read_day(document)
    slots = booked_slots(day)
    if slots is None:
        return None
    return _Lookup(document, {}, Settled(day), ask or ask_the_engine).least(slots, None)


def ask_the_engine(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return the plan of a day as booked: what is asked where nothing else tells."""
    return order_day(document, seconds=2, as_booked=True)


@dataclass(slots=True)
class _Lookup:
    """Settles slots, and asks the engine where that does not tell."""

    document: Mapping[str, Any]
    lesson: Mapping[str, Any]
    settled: Settled
    ask: Callable[[Mapping[str, Any]], dict[str, Any]]

    def least(self, slots: Slots, there: tuple[int, str] | None) -> int | None:
        found = self.settled.settle(slots)
        if found.known is Known.EXACT:
            return found.reset_s
        if found.known is Known.IMPOSSIBLE:
            return None
        lessons = list(self.document["lessons"])
        if there is not None:
            lessons.append(fixed_at(self.lesson, *there))
        plan = self.ask({**self.document, "lessons": lessons})
        return None if plan["status"] == "impossible" else int(plan["reset_s"])


def fixed_at(lesson: Mapping[str, Any], start_min: int, arena: str) -> dict[str, Any]:
    """Return a lesson of a day file fixed at a start and in an arena."""
    start = clock(start_min)
    return {
        **lesson,
        "not_before": start,
        "not_after": start,
        "arenas": [arena],
        "booked": {"start": start, "arena": arena},
    }
