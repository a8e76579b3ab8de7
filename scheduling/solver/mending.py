"""Which part of a day is set free, while the rest stays as it is.

A day that is good but not the best is often bettered by a part: all that starts
within some time, or two arenas for longer (large neighbourhood search: Shaw, CP 1998,
417-431). A part is small enough for the engine to settle in a moment.
"""

import numpy as np
from numpy.typing import NDArray

from scheduling.solver.arrays import Arrays, Ints

_WINDOWS_MIN = (90, 120, 150, 180)
"""How long a time of the whole day is set free [min]."""

_LONGER = 2
"""By how much more, of two arenas only."""


def freed(arrays: Arrays, chosen: Ints, dice: np.random.Generator) -> NDArray[np.bool_]:
    """Return by task whether it is free in a part of a day at random.

    Parameters
    ----------
    arrays, chosen
        The day in numbers, and the options it is made of, one a task.
    dice
        What is free is up to them.
    """
    start, arena = arrays.start[chosen], arrays.arena[chosen]
    minutes = int(dice.choice(_WINDOWS_MIN))
    its = np.ones(len(chosen), dtype=bool)
    there = np.unique(arena)
    if len(there) > 2 and dice.random() < 0.5:
        its = np.isin(arena, dice.choice(there, 2, replace=False))
        minutes *= _LONGER
    since = int(dice.choice(start)) - minutes // 2
    free = its & (start >= since) & (start < since + minutes)
    return np.asarray(free, dtype=bool)
