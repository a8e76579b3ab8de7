"""What would make a lesson's grid fit, what each cure costs, and taking one.

Three cures stand open for a distance that does not suit: change it, split the
ride by size, swap the horse. A fence too high is lowered, a row that can't be
turned round is set square. A ride that is split is built for one part, ridden, and
built for the other: each press changes the row, and the coach arranges the parts.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from exercises.geometry.cures import (
    Change,
    Split,
    Swap,
    built_for,
    built_like,
    changes_for,
    lowered,
    split_by_size,
    swaps_for,
    unshifted,
)
from exercises.geometry.fit import Fit
from exercises.geometry.reverse import make_reversible
from exercises.geometry.spec import ExerciseSpec
from exercises.geometry.strides import Tradition
from school.convert import ground_of, horse_size, spec_of_grid
from school.models import Account, Horse, Lesson, LessonGrid, Ride
from school.services.checks import carries, horses_able
from school.services.grid_changes import change_grid, grid_of, refit_grid
from school.services.grids import Fitted, UnableToAttach, fit_lesson
from school.services.rides import change_horse
from school.services.welfare import house_rules
from school.welfare.rules import House

LOWEST_CM = 20
"""Nobody lowers a fence below this: it is a pole on the ground then."""

MOST_SWAPS = 3
"""So many horses are offered in place of one."""


@dataclass(frozen=True, slots=True)
class SwapOffer:
    """A horse of the yard that is free then, and the row it would make."""

    horse: Horse
    swap: Swap


@dataclass(frozen=True, slots=True)
class HorseCures:
    """What stands open for a horse outside its bands."""

    ride: Ride
    changes: tuple[Change, ...]
    swaps: tuple[SwapOffer, ...]


@dataclass(frozen=True, slots=True)
class Cures:
    """Everything that would make a lesson's grid fit better.

    `lower_to_cm` is the height everybody may go up to, where the row is higher.
    """

    fitted: Fitted
    horses: tuple[HorseCures, ...]
    split: Split | None
    lower_to_cm: int | None
    square: bool


def cures_of(lesson: Lesson, grid: LessonGrid) -> Cures:
    """Return what would cure a lesson's grid, in a constant number of queries.

    Raises
    ------
    UnableToAttach
        For a lesson that takes no grid any more.
    """
    fitted = fit_lesson(lesson, grid, spec_of_grid(grid), riding=True)
    outside = [
        ride
        for ride in fitted.rides
        if ride.horse and changes_for(fitted.row, ride.horse.name)
    ]
    able = (
        horses_able(
            lesson.starts_at, lesson.ends_at, work=lesson.horse_work, but=[lesson.pk]
        )
        if outside
        else []
    )
    split = _split_of(fitted, grid) if outside else None
    house = house_rules()
    return Cures(
        fitted=fitted,
        horses=tuple(
            HorseCures(
                ride,
                changes_for(fitted.row, ride.horse.name),
                _swaps(fitted, grid, ride, able, house),
            )
            for ride in outside
            if ride.horse
        ),
        split=split if split and split.worst < fitted.row.worst else None,
        lower_to_cm=_lower_to(fitted),
        square=any(
            one.subject == "ridden in reverse" and one.fit is Fit.DOES_NOT
            for one in fitted.verdicts
        ),
    )


def _split_of(fitted: Fitted, grid: LessonGrid) -> Split | None:
    """Return the ride in two parts, each as the row fits it with no step taken."""
    return split_by_size(
        unshifted(fitted.spec),
        [horse_size(ride.horse) for ride in fitted.rides if ride.horse],
        Tradition(grid.tradition),
        ground_of(grid.ground),
    )


def _swaps(
    fitted: Fitted, grid: LessonGrid, ride: Ride, able: list[Horse], house: House
) -> tuple[SwapOffer, ...]:
    """Return free horses that suit row, rider and height, the best first."""
    ridden = {one.horse_id for one in fitted.rides}
    highest = max(one.height_cm for one in fitted.row.every_element)
    others = {
        one.name: one
        for one in able
        if one.pk not in ridden
        and one.highest_fence_cm >= highest
        and carries(ride.rider, one, fitted.lesson.horse_work, house)
    }
    if ride.horse is None:
        return ()
    swaps = swaps_for(
        fitted.spec,
        [horse_size(one.horse) for one in fitted.rides if one.horse],
        ride.horse.name,
        [horse_size(one) for one in others.values()],
        Tradition(grid.tradition),
        ground_of(grid.ground),
    )
    return tuple(SwapOffer(others[one.horse.name], one) for one in swaps[:MOST_SWAPS])


def _lower_to(fitted: Fitted) -> int | None:
    limits = [fitted.lesson.instructor.highest_fence_cm]
    for ride in fitted.rides:
        limits.append(ride.rider.highest_fence_cm)
        if ride.horse:
            limits.append(ride.horse.highest_fence_cm)
    least = min(limits) // 5 * 5
    highest = max(one.height_cm for one in fitted.row.every_element)
    return least if LOWEST_CM <= least < highest else None


def take_distance(
    *,
    lesson: Lesson,
    horse: str,
    by: Account | None,
    now: datetime,
    overrides: Mapping[str, str] | None = None,
) -> LessonGrid:
    """Build each gap outside a horse's band at the nearest mark inside it."""

    return change_grid(
        lesson=lesson,
        alter=lambda fitted: built_for(fitted.spec, fitted.row, horse),
        says=f"Distances for {horse}",
        by=by,
        now=now,
        overrides=overrides,
    )


def take_part(
    *,
    lesson: Lesson,
    part: str,
    by: Account | None,
    now: datetime,
    overrides: Mapping[str, str] | None = None,
) -> LessonGrid:
    """Build the row for one part of a ride that is split by size.

    Parameters
    ----------
    part
        "short" or "long": the shorter- or the longer-striding horses. That the
        others don't ride it so is the reason kept for their distances.

    Raises
    ------
    UnableToAttach
        Where the ride can't be split, or something else does not fit then.
    """
    with transaction.atomic():
        grid = grid_of(lesson)
        fitted = fit_lesson(lesson, grid, spec_of_grid(grid), riding=True)
        split = _split_of(fitted, grid)
        if split is None or part not in {"short", "long"}:
            raise UnableToAttach(f"{lesson.title}: its ride can't be split by size.")
        half = split.short if part == "short" else split.long
        rest = split.long if part == "short" else split.short
        names = ", ".join(one.name for one in half.horses)
        others = ", ".join(one.name for one in rest.horses)
        return change_grid(
            lesson=lesson,
            alter=lambda now_fitted: built_like(
                now_fitted.spec, now_fitted.fit(unshifted(now_fitted.spec)), half.row
            ),
            says=f"Built for {names}",
            by=by,
            now=now,
            overrides=overrides,
            remedy=f"Ridden in two parts: now {names}; {others} after the change",
        )


def take_lower(
    *,
    lesson: Lesson,
    by: Account | None,
    now: datetime,
    overrides: Mapping[str, str] | None = None,
) -> LessonGrid:
    """Lower the row to what everybody in the lesson may go up to."""

    def lower(fitted: Fitted) -> ExerciseSpec:
        to_cm = _lower_to(fitted)
        return fitted.spec if to_cm is None else lowered(fitted.spec, to_cm)

    return change_grid(
        lesson=lesson,
        alter=lower,
        says="Lowered to what everybody may go up to",
        by=by,
        now=now,
        overrides=overrides,
    )


def take_square(
    *,
    lesson: Lesson,
    by: Account | None,
    now: datetime,
    overrides: Mapping[str, str] | None = None,
) -> LessonGrid:
    """Set oxers square and lay ground lines on both sides, for riding both ways."""
    return change_grid(
        lesson=lesson,
        alter=lambda fitted: make_reversible(fitted.spec),
        says="Set square for riding both ways",
        by=by,
        now=now,
        overrides=overrides,
    )


def take_swap(
    *,
    ride: Ride,
    horse: Horse,
    by: Account | None,
    now: datetime,
    overrides: Mapping[str, str] | None = None,
) -> LessonGrid:
    """Give a rider another horse and fit the grid to the ride as it is then.

    Raises
    ------
    UnableToBook
        Where the horse can't be booked.
    UnableToAttach
        Where the grid does not fit then; the horse is not changed either.
    """
    with transaction.atomic():
        changed = change_horse(ride=ride, horse=horse, by=by, now=now)
        return refit_grid(lesson=changed.lesson, by=by, now=now, overrides=overrides)
