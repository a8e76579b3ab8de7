"""Takes a remedy for a fault seen in a lesson, as a change of its grid."""

from collections.abc import Mapping
from datetime import datetime
from functools import cache

from exercises.geometry.editing.edits import UnableToEdit
from exercises.geometry.faults import Fault, Faults, read_faults
from exercises.geometry.holding import Held, apply_held
from exercises.geometry.remedies import CHANGES, Offer, offers_for
from exercises.geometry.spec import ExerciseSpec
from exercises.geometry.units import Units
from exercises.services import FAULTS
from school.models import Account, Lesson, LessonGrid
from school.services.grid_changes import change_grid
from school.services.grids import Fitted, UnableToAttach


@cache
def the_faults() -> Faults:
    """Return the faults of the trade with their remedies, as the files have them."""
    return read_faults(FAULTS, CHANGES)


def offer_of(
    spec: ExerciseSpec, fault: Fault, n: int, at: int, stage: int, units: Units
) -> Offer:
    """Return the n-th remedy of a fault for a row.

    Raises
    ------
    UnableToEdit
        Where there is none, or it is none for this row.
    """
    offers = offers_for(spec, fault, at, stage=stage, units=units)
    if not 0 <= n < len(offers):
        raise UnableToEdit("no-remedy", "Choose one of the remedies shown.")
    if not offers[n].edits:
        raise UnableToEdit(
            "not-here", offers[n].why_not or "That remedy is ridden: nothing is moved."
        )
    return offers[n]


def held(fitted: Fitted, offer: Offer) -> Held:
    """Return the row with a remedy made, everything else where it stands."""
    return apply_held(fitted.spec, fitted.row, offer.edits, fitted.fit)


def take_remedy(
    *,
    lesson: Lesson,
    fault: Fault,
    n: int,
    at: int,
    stage: int,
    units: Units,
    by: Account | None,
    now: datetime,
    overrides: Mapping[str, str] | None = None,
) -> LessonGrid:
    """Make the n-th remedy of a fault on a lesson's grid.

    A distance that suits a horse no more is what the remedy is for: it is kept as
    overruled, with the fault as the reason.

    Raises
    ------
    UnableToAttach
        Where it is none for this row, or something else does not fit then.
    """
    says = fault.remedies[n].says if 0 <= n < len(fault.remedies) else ""

    def alter(fitted: Fitted) -> ExerciseSpec:
        try:
            offer = offer_of(fitted.spec, fault, n, at, stage, units)
            return held(fitted, offer).spec
        except UnableToEdit as error:
            raise UnableToAttach(error.says) from error

    return change_grid(
        lesson=lesson,
        alter=alter,
        says=f"{fault.name}: {says}",
        by=by,
        now=now,
        overrides=overrides,
        remedy=f"Remedy for: {fault.name.lower()}",
    )
