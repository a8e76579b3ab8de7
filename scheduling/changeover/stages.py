"""What it takes to build a row up during the lesson, stage by stage."""

from collections.abc import Iterable, Sequence
from itertools import pairwise

from exercises.geometry.elements import Element
from scheduling.changeover.effort import Handling
from scheduling.changeover.moves import Changeover, changeover
from scheduling.changeover.setups import Place, place_elements


def stage_changeovers(
    stages: Sequence[Iterable[Element]],
    row_cm: int,
    place: Place,
    handling: Handling,
) -> tuple[Changeover, ...]:
    """Return the cheapest changeover to each stage from the one before.

    Parameters
    ----------
    stages
        What stands in each, the row as built first; counted from its zero [cm].
    row_cm
        Length of the row as built [cm].
    place
        Where it stands on its line.
    handling
        The school's times.
    """
    setups = [place_elements(one, row_cm, place) for one in stages]
    return tuple(changeover(was, now, handling) for was, now in pairwise(setups))
