"""Which horse goes with which rider at one time, for the fewest points."""

from collections.abc import Sequence

import numpy as np

from scheduling.finding.best import Points

Row = Sequence[Points | None]
"""For one rider, the points of each horse; None where it can't be."""

_NEVER = 1e9
"""More than any sum of points."""


def assign(rows: Sequence[Row]) -> tuple[int, ...] | None:
    """Return a horse for each rider at the fewest points; None where none is."""
    if not rows:
        return ()
    if len(rows) == 1:
        able = [(one, n) for n, one in enumerate(rows[0]) if one is not None]
        return (min(able)[1],) if able else None
    # Slow to import, so not before use.
    from scipy.optimize import linear_sum_assignment  # noqa: PLC0415

    table = np.array([[_NEVER if x is None else x for x in row] for row in rows])
    if table.shape[0] > table.shape[1]:
        return None
    riders, horses = linear_sum_assignment(table)
    if table[riders, horses].max() >= _NEVER:
        return None
    return tuple(int(one) for one in horses)
