"""What the trade changes for a fault, as changes to the row that stands.

The faults and their remedies are data (`exercises/remedies/faults.toml`), each with
who says so. Here a remedy becomes edits of this very row, or says why it is none
for it. One step of a distance is 0.15 m (6 in; a US forum page moves poles by it)
and never more than two are taken; one step of a height is one hole. Smallest first:
change one thing, and go down before up.
"""

from dataclasses import dataclass

from exercises.geometry.editing.apply import apply_all
from exercises.geometry.editing.edits import Edit, UnableToEdit
from exercises.geometry.faults import Fault, Remedy
from exercises.geometry.remedying.distances import DISTANCES
from exercises.geometry.remedying.fences import FENCES_CHANGED
from exercises.geometry.remedying.where import NotHere, Where
from exercises.geometry.spec import ExerciseSpec
from exercises.geometry.units import METRIC, Units

_MAKERS = {**DISTANCES, **FENCES_CHANGED}

CHANGES = frozenset(_MAKERS)
"""The names of the changes that a file of faults may use."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A remedy for this very row.

    Parameters
    ----------
    remedy
        By the trade.
    edits
        What it changes; none where it is ridden, or is none for this row.
    amount
        Which element and how much, in words.
    why_not
        Why it is none for this row; empty where it is.
    """

    remedy: Remedy
    edits: tuple[Edit, ...] = ()
    amount: str = ""
    why_not: str = ""


def offers_for(
    spec: ExerciseSpec,
    fault: Fault,
    at: int,
    *,
    stage: int = 0,
    units: Units = METRIC,
) -> tuple[Offer, ...]:
    """Return the remedies of a fault for this row, in the trade's order.

    Parameters
    ----------
    spec
        The exercise.
    fault
        What is seen.
    at
        At which element, counted from 0; it must stand in the stage.
    stage
        Which stage stands, 0 as built.
    units
        In which amounts are written; a height changes by one hole of its stands.

    Raises
    ------
    UnableToEdit
        Where that element does not stand in that stage.
    """
    played = spec.played
    if not 0 <= stage < len(played) or at not in played[stage]:
        raise UnableToEdit(
            "not-standing", "Choose an element that stands in that stage.", at=at
        )
    where = Where(spec, at, stage, fault.side, units)
    return tuple(_offer(where, remedy) for remedy in fault.remedies)


def _offer(where: Where, remedy: Remedy) -> Offer:
    if not remedy.do:
        return Offer(remedy)
    try:
        edits, amount = _MAKERS[remedy.do](where)
        if apply_all(where.spec, edits) == where.spec:
            return Offer(remedy, why_not="It is so already.")
    except NotHere as error:
        says = str(error)
        return Offer(remedy, why_not=f"{says[0].upper()}{says[1:]}.")
    except UnableToEdit as error:
        return Offer(remedy, why_not=error.says)
    return Offer(remedy, edits, amount)
