"""What ticks tell of the time a changeover took.

A stretch lies between two ticks that were not pressed in one go. Ticks pressed in
one go end the stretch of all their steps together, as after a changeover during
which the telephone stayed in the pocket.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest

import numpy as np

from scheduling.changeover.work import KEYS, Amounts, Step, amounts_of

IN_ONE_GO_S = 5.0
"""Nothing on the list is done in less than this, in seconds."""


@dataclass(frozen=True, slots=True)
class Tick:
    """A step, and when it was ticked, in seconds from the start."""

    step: Step
    at_s: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """Some work, and how long it took.

    Parameters
    ----------
    amounts
        How often each handling, in the order of `KEYS`.
    seconds
        By the clock, breaks and all.
    person
        Who did it.
    pair
        Whether two did it together.
    """

    amounts: Amounts
    seconds: float
    person: str = ""
    pair: bool = False


def stretches(
    ticks: Sequence[Tick], done_s: float, person: str = "", *, pair: bool = False
) -> tuple[Stretch, ...]:
    """Return the stretches of one changeover; the last one ends when it is done.

    Work that costs nothing, and a changeover in which nothing is done, tell
    nothing and are left out. The start counts with the first stretch.
    """
    found: list[Stretch] = []
    begun, steps = 0.0, list[Step]()
    walked = sorted(ticks, key=lambda one: one.at_s)
    for tick, following in zip_longest(walked, (one.at_s for one in walked[1:])):
        steps.append(tick.step)
        if following is not None and following - tick.at_s < IN_ONE_GO_S:
            continue
        amounts = amounts_of(steps)
        end = done_s if following is None else tick.at_s
        if not amounts.any() or end - begun < IN_ONE_GO_S:
            continue
        if not found:
            amounts += np.array(KEYS) == "start_s"
        found.append(Stretch(amounts, end - begun, person, pair))
        begun, steps = end, []
    return tuple(found)
