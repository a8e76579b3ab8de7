"""What one lesson adds to the resets of a day, asked slot by slot.

As `marginal`, but only what is asked for is worked out, and the engine is never
asked: where settling the day does not tell, that is said.
"""

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from scheduling.dayplan.chains import Shared
from scheduling.dayplan.clashes import booked_slots
from scheduling.dayplan.document import read_day
from scheduling.dayplan.settled import Known, Settled, SettledDay


def alike(document: Mapping[str, Any], lesson: Mapping[str, Any]) -> str:
    """Return what is equal where two days have the same margins for a lesson.

    A day's date and the names of its lessons change none of them, so the same week
    again is reckoned once.
    """
    named = [{**one, "id": n} for n, one in enumerate(document["lessons"])]
    same = {**document, "date": "", "lessons": named}
    return json.dumps([same, {**lesson, "id": ""}], sort_keys=True)


class Margins:
    """A day and a lesson that might be booked on it.

    Parameters
    ----------
    document, lesson
        As in `marginal_costs`.
    shared
        What was found of rows and lines on other days.

    Raises
    ------
    InvalidDay
        If the day file or the lesson is refused.
    """

    def __init__(
        self,
        document: Mapping[str, Any],
        lesson: Mapping[str, Any],
        shared: Shared | None = None,
    ) -> None:
        given = [*document["lessons"], {**lesson, "booked": None}]
        self._day = read_day({**document, "lessons": given})
        self._new = len(self._day.lessons) - 1
        self._settled = Settled(self._day, shared)
        self._arenas = {one.id: n for n, one in enumerate(self._day.arenas)}
        others = replace(self._day, lessons=self._day.lessons[: self._new])
        self._slots = booked_slots(others)
        self._base: SettledDay | None = None
        self._arena_s: list[int] = []
        if self._slots is not None:
            self._base = self._settled.settle(self._slots)
        if self._slots is not None and self.reckoned:
            for n in range(len(self._day.arenas)):
                least = self._settled.arena(n, self._settled.users(self._slots, n))
                self._arena_s.append(0 if least is None else least.seconds)

    @property
    def reckoned(self) -> bool:
        """Whether the least resets of the day as booked are known."""
        return self._base is not None and self._base.known is Known.EXACT

    def at_least(self, start_min: int, arena: str) -> int | None:
        """Return seconds that the lesson adds there at least; None where none can be.

        Arena by arena as cheap as can be, whether or not it can be timed. Only
        where the day is reckoned.
        """
        slots, base = self._slots, self._base
        if slots is None or base is None:
            return None
        where = self._arenas[arena]
        users = self._settled.users(slots | {self._new: (start_min, where)}, where)
        its = self._settled.arena(where, users)
        if its is None:
            return None
        others = sum(self._arena_s) - self._arena_s[where]
        return others + its.seconds - base.reset_s

    def added(self, start_min: int, arena: str) -> tuple[Known, int]:
        """Return what the lesson adds there [s], and how much of that is known.

        Exact, or a lower bound where the engine would have to be asked. Only where
        the day is reckoned.
        """
        slots, base = self._slots, self._base
        if slots is None or base is None:
            return Known.ASK, 0
        there = slots | {self._new: (start_min, self._arenas[arena])}
        found = self._settled.settle(there)
        return found.known, found.reset_s - base.reset_s
