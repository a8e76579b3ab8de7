"""Attaches a grid to a lesson: fitted to its horses, judged, and kept with why."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from exercises.convert import spec_of
from exercises.geometry.data import element_as_data
from exercises.geometry.fit import Fit, Verdict
from exercises.geometry.fitting import FittedRow, UnableToFit, fit_row
from exercises.geometry.lead_rein import judge_lead_rein
from exercises.geometry.lines import LineFit, fit_lines
from exercises.geometry.reverse import Turned, turn_row
from exercises.geometry.rows import UnableToReverse
from exercises.geometry.spec import ExerciseSpec
from exercises.geometry.strides import Tradition
from exercises.geometry.verdicts import judge_fit, worst_first
from exercises.models import ExerciseRevision
from school.convert import (
    ground_of,
    horse_size,
    limits_of,
    room_of,
    store_of,
    units_of,
    verdict_as_data,
)
from school.enums import LessonKind, LessonState, RideState, Work
from school.models import (
    Account,
    GridOverride,
    Lesson,
    LessonGrid,
    Ride,
)
from school.queries.schools import school_zone, the_school
from school.queries.store import store_by_place
from school.services.audit import record
from school.services.refusals import UnableToBook
from school.services.welfare import Told, keep, refuse, told_of_lesson, worse

OPEN_STATES = {LessonState.ASKED, LessonState.BOOKED, LessonState.CONFIRMED}


OF_A_HORSE = "distances for "
"""How the subject of a verdict on one horse's distances begins."""


class UnableToAttach(ValueError):
    """A grid that does not fit its lesson: in words, and every verdict.

    `work` is what it would break of the rules of horses' work, where it is that.
    """

    def __init__(
        self,
        says: str,
        verdicts: Sequence[Verdict] = (),
        work: UnableToBook | None = None,
    ) -> None:
        super().__init__(says)
        self.says = says
        self.verdicts = tuple(verdicts)
        self.work = work


@dataclass(frozen=True, slots=True)
class Fitted:
    """An exercise as fitted to a lesson, and what is said of it."""

    lesson: Lesson
    rides: Sequence[Ride]
    spec: ExerciseSpec
    row: FittedRow
    verdicts: tuple[Verdict, ...]
    lines: tuple[LineFit, ...]
    fit: Callable[[ExerciseSpec], FittedRow]


def attach_grid(
    *,
    lesson: Lesson,
    revision: ExerciseRevision,
    by: Account | None,
    now: datetime,
    tradition: str | None = None,
    ground: Collection[str] = (),
    overrides: Mapping[str, str] | None = None,
    overrule: str = "",
) -> LessonGrid:
    """Fit a grid to a lesson's horses and attach it, in place of an earlier one.

    What does not fit is refused, unless overruled with a reason by its subject;
    the length of the line and the store can't be overruled. `overrule` is the reason
    to go against rules of the horses' work, the efforts of a day say.
    """
    with transaction.atomic():
        fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
        grid = LessonGrid(
            lesson=fresh,
            revision=revision,
            tradition=tradition or the_school().tradition,
            ground=sorted(ground),
        )
        fitted = fit_lesson(fresh, grid, spec_of(revision))
        was = told_of_lesson(fresh)
        LessonGrid.objects.filter(lesson=fresh).delete()
        keep_fit(grid, fitted, overrides or {}, by=by, now=now)
        check_work(fresh, was, by=by, now=now, overrule=overrule)
        record(
            by=by,
            at=now,
            action="attach grid",
            subject=fresh,
            after={"exercise": fitted.spec.slug, "revision": revision.number},
        )
        return grid


def check_work(
    lesson: Lesson,
    was: Sequence[Told],
    *,
    by: Account | None,
    now: datetime,
    overrule: str = "",
) -> None:
    """Hold the efforts of a lesson's grid against the rules of horses' work.

    `was` is what the lesson broke before; needs a transaction, which is undone where
    this refuses.

    Raises
    ------
    UnableToAttach
        With `work`, where a rule refuses and is not overruled.
    """
    told = worse(told_of_lesson(lesson), was)
    try:
        refuse(
            told, lesson.starts_at, school_zone(), overrule=overrule, by=by,
            lesson=lesson.pk,
        )  # fmt: skip
    except UnableToBook as error:
        raise UnableToAttach(
            f"{error.says} Take a shorter grid, or give fewer jumps on that day.",
            work=error,
        ) from error
    keep(told, lesson, overrule=overrule, by=by, now=now)


def fit_lesson(
    lesson: Lesson, grid: LessonGrid, spec: ExerciseSpec, *, riding: bool = False
) -> Fitted:
    """Fit an exercise to a lesson's horses as its grid says, and judge it.

    A lesson that runs takes no other grid, but its own may be changed (`riding`).

    Raises
    ------
    UnableToAttach
        For a lesson that takes no grid, or a rider without a horse.
    """
    rides = _rides(lesson)
    _check_open(lesson, rides, riding=riding)
    horses = [horse_size(one.horse) for one in rides if one.horse]
    use, ground = Tradition(grid.tradition), ground_of(grid.ground)

    def fit(one: ExerciseSpec) -> FittedRow:
        return fit_row(one, horses, use, ground)

    try:
        row = fit(spec)
    except UnableToFit as error:
        raise UnableToAttach(f"{lesson.title}: {error}.") from error
    turned: Turned | UnableToReverse | None = None
    if spec.both_ways:
        try:
            turned = turn_row(spec, row, horses, use, ground)
        except UnableToReverse as error:
            turned = error
    lines = lesson.arena.lines.select_related("arena").order_by("name", "pk")
    rooms = [room_of(line) for line in lines]
    units = units_of(the_school())
    verdicts = judge_fit(
        spec,
        row,
        limits=limits_of(rides, lesson.instructor),
        rooms=rooms,
        store=store_of(store_by_place(), lesson.arena),
        turned=turned,
        units=units,
    )
    if lesson.kind == LessonKind.LEAD_REIN:
        led = judge_lead_rein(spec, row, the_school().lead_rein_fence_cm, units)
        verdicts = worst_first([*verdicts, *led])
    return Fitted(lesson, rides, spec, row, verdicts, fit_lines(spec, row, rooms), fit)


def keep_fit(
    grid: LessonGrid,
    fitted: Fitted,
    reasons: Mapping[str, str],
    *,
    by: Account | None,
    now: datetime,
    remedy: str = "",
) -> None:
    """Write a fit to its grid, with what was overruled; needs a transaction.

    A reason given before still counts where the verdict is the same, by who gave it.
    A `remedy` is itself the reason for distances that suit a horse no more.
    """
    given = {
        subject: reason.strip() for subject, reason in reasons.items() if reason.strip()
    }
    if remedy:
        distances = [
            v.subject for v in fitted.verdicts if v.subject.startswith(OF_A_HORSE)
        ]
        given = dict.fromkeys(distances, remedy) | given
    kept = {(one.subject, one.says) for one in grid.overrides.all()}
    earlier = {
        one.subject for one in fitted.verdicts if (one.subject, one.says[:400]) in kept
    }
    _check_verdicts(fitted, given, earlier, by)
    grid.start = [element_as_data(one) for one in fitted.row.start]
    grid.end = [element_as_data(one) for one in fitted.row.end]
    grid.fitted = fitted_as_data(fitted)
    grid.approach_cm = fitted.spec.approach_cm
    grid.runout_cm = fitted.spec.runout_cm
    grid.save()
    for one in fitted.verdicts:
        if one.fit is Fit.DOES_NOT and by is not None and one.subject in given:
            GridOverride.objects.update_or_create(
                grid=grid,
                subject=one.subject,
                says=one.says[:400],
                defaults={"reason": given[one.subject][:400], "by": by, "at": now},
            )


def detach_grid(*, lesson: Lesson, by: Account | None, now: datetime) -> None:
    """Take a lesson's grid away; doing it twice is harmless."""
    with transaction.atomic():
        fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
        _check_open(fresh, [])
        if LessonGrid.objects.filter(lesson=fresh).delete()[0]:
            record(by=by, at=now, action="detach grid", subject=fresh)


def _rides(lesson: Lesson) -> list[Ride]:
    return list(
        lesson.rides.filter(state=RideState.BOOKED)
        .select_related("horse", "rider__person")
        .order_by("pk")
    )


def _check_open(lesson: Lesson, rides: Sequence[Ride], *, riding: bool = False) -> None:
    states = OPEN_STATES | {LessonState.RUNNING} if riding else OPEN_STATES
    if lesson.state not in states:
        raise UnableToAttach(
            f"{lesson.title} is {lesson.get_state_display().lower()}: its grid stays."
        )
    if lesson.work != Work.JUMPING:
        raise UnableToAttach(f"{lesson.title} is a flat lesson: it takes no grid.")
    if lesson.needs_clear:
        raise UnableToAttach(
            f"Nothing may stand while {lesson.title} is held: take that back first."
        )
    without = [ride.rider.person.first_name for ride in rides if ride.horse is None]
    if without:
        raise UnableToAttach(
            f"Give {', '.join(without)} a horse first: a grid is fitted to the horses."
        )


def _check_verdicts(
    fitted: Fitted,
    given: Mapping[str, str],
    earlier: Collection[str],
    by: Account | None,
) -> None:
    open_ = [
        one
        for one in fitted.verdicts
        if one.fit is Fit.DOES_NOT
        and (
            one.firm
            or ((by is None or one.subject not in given) and one.subject not in earlier)
        )
    ]
    if open_:
        first = open_[0]
        raise UnableToAttach(
            f"The grid does not fit {fitted.lesson.title}: {first.says} {first.cure}",
            fitted.verdicts,
        )


def fitted_as_data(fitted: Fitted) -> dict[str, Any]:
    """Write what a fit found, as the lesson keeps it."""
    row = fitted.row
    return {
        "gaps": [
            {
                "before": gap.before,
                "meaning": gap.gap.value,
                "built_cm": gap.built_cm,
                "proposed_cm": gap.proposed_cm,
                "horses": [
                    {
                        "horse": one.horse.name,
                        "target_cm": one.target.target_cm,
                        "low_cm": one.target.low_cm,
                        "high_cm": one.target.high_cm,
                        "off_cm": one.off_cm,
                        "inside": one.inside,
                        "says": one.target.says,
                    }
                    for one in gap.horses
                ],
            }
            for gap in row.gaps
        ],
        "stages": [
            {
                "says": stage.says,
                "passes": stage.passes,
                "together": stage.together,
                "things": stage.things,
                "elements": [element_as_data(one) for one in stage.elements],
            }
            for stage in row.stages
        ],
        "lines": [
            {
                "name": one.room.name,
                "length_cm": one.room.length_cm,
                "row_cm": one.row_cm,
                "approach_cm": one.approach_cm,
                "left_cm": one.left_cm,
                "fit": one.fit.value,
            }
            for one in fitted.lines
        ],
        "verdicts": [verdict_as_data(one) for one in fitted.verdicts],
    }
