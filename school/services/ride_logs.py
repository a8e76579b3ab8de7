"""Logs what a lesson rode of its grid; a correction is a new log beside the old."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from exercises.geometry.efforts import ridden_quarters
from exercises.geometry.spec import LONGEST_GAP_CM
from school.convert import BuiltStage, stages_as_data, stages_of
from school.enums import HOLDING_STATES, Happened, RideState, Went
from school.models import (
    Account,
    Lesson,
    LessonGrid,
    RiddenRide,
    Ride,
    RideLog,
    RideNote,
)
from school.queries.ride_logs import log_of
from school.services.audit import record

MOST_PASSES = 20
LEAST_GAP_CM = 50


class UnableToLog(ValueError):
    """A log that is refused: a code, plain words, and what they speak of."""

    def __init__(self, code: str, says: str, **fields: Any) -> None:
        super().__init__(says)
        self.code = code
        self.says = says
        self.fields = fields


@dataclass(frozen=True, slots=True)
class Noted:
    """What happened at an element of the last stage, from 1; without one, somewhere."""

    what: str
    element: int | None = None
    often: bool = False


@dataclass(frozen=True, slots=True)
class RodeAs:
    """How one ride of the lesson went; without passes, as often as the lesson."""

    ride_id: int
    went: str = Went.GOOD
    passes: int | None = None
    notes: tuple[Noted, ...] = ()


@dataclass(frozen=True, slots=True)
class Entry:
    """What is to be logged.

    Parameters
    ----------
    token
        Of the form: the same token is the same log, however often it is sent.
    corrects
        Number of the log the writer saw; 0 for none.
    stage, passes
        The furthest stage ridden, from 1 (0: not jumped), and how often.
    measured
        Gaps that were built otherwise [cm], by the element they are before.
    """

    token: UUID
    corrects: int
    stage: int
    passes: int
    rides: tuple[RodeAs, ...]
    measured: Mapping[int, int] = field(default_factory=dict)
    note: str = ""


def log_ride(
    *, lesson: Lesson, entry: Entry, by: Account | None, now: datetime
) -> RideLog:
    """Log what was ridden, or correct it; sending the same form again is harmless.

    Raises
    ------
    UnableToLog
        Before the lesson has begun, without a grid, for what the grid does not
        have, and where somebody else has logged in the meantime.
    """
    with transaction.atomic():
        fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
        same = RideLog.objects.filter(token=entry.token).first()
        if same is not None:
            return _same(same, fresh)
        stages, revision_id = _check_lesson(fresh, now)
        rides = _check_rides(fresh, entry)
        _check_figures(entry, stages)
        last = log_of(fresh)
        _check_seen(entry, last)
        log = RideLog.objects.create(
            lesson=fresh,
            number=entry.corrects + 1,
            revision_id=revision_id,
            stages=stages_as_data(stages),
            stage=entry.stage,
            passes=entry.passes if entry.stage else 0,
            measured=[
                {"gap": gap, "cm": cm} for gap, cm in sorted(entry.measured.items())
            ],
            note=entry.note.strip()[:400],
            token=entry.token,
            logged_at=now,
            logged_by=by,
        )
        for one in entry.rides:
            _write(log, rides[one.ride_id], one, stages)
        record(
            by=by,
            at=now,
            action="log ride" if last is None else "correct log",
            subject=fresh,
            before=None if last is None else _summary(last),
            after=_summary(log),
        )
        return log


def _same(log: RideLog, lesson: Lesson) -> RideLog:
    """Return what the form has logged already, if it was of this lesson."""
    if log.lesson_id != lesson.pk:
        raise UnableToLog(
            "token",
            f"This form has logged another lesson: open the page of {lesson.title} "
            "again.",
        )
    return log


def _check_lesson(lesson: Lesson, now: datetime) -> tuple[tuple[BuiltStage, ...], int]:
    """Return the stages and the revision that were ridden."""
    if lesson.state not in HOLDING_STATES:
        raise UnableToLog(
            "not-held",
            f"{lesson.title} is {lesson.get_state_display().lower()}: there is nothing "
            "to log.",
        )
    if now < lesson.starts_at:
        raise UnableToLog(
            "not-begun",
            f"{lesson.title} has not begun: log it once it has.",
        )
    grid = LessonGrid.objects.filter(lesson=lesson).first()
    if grid is None:
        raise UnableToLog(
            "no-grid", f"{lesson.title} has no grid: there is nothing to log."
        )
    return stages_of(grid), grid.revision_id


def _check_rides(lesson: Lesson, entry: Entry) -> dict[int, Ride]:
    rides = {
        one.pk: one
        for one in lesson.rides.filter(state=RideState.BOOKED).select_related(
            "rider__person", "horse"
        )
    }
    for one in entry.rides:
        ride = rides.get(one.ride_id)
        if ride is None:
            raise UnableToLog(
                "no-such-ride",
                f"A rider you logged is no longer in {lesson.title}: look at the page "
                "again.",
                ride=one.ride_id,
            )
        if ride.horse is None:
            raise UnableToLog(
                "no-horse",
                f"Give {ride.rider.person.first_name} the horse that was ridden first.",
                ride=ride.pk,
            )
    return rides


def _check_figures(entry: Entry, stages: Sequence[BuiltStage]) -> None:
    if not 0 <= entry.stage <= len(stages):
        raise UnableToLog(
            "stage", f"Choose a stage from 1 to {len(stages)}.", field="stage"
        )
    passes = [entry.passes, *(one.passes or 0 for one in entry.rides)]
    if not all(0 <= one <= MOST_PASSES for one in passes):
        raise UnableToLog(
            "passes", f"Passes are from 0 to {MOST_PASSES}.", field="passes"
        )
    elements = len(stages[-1].elements)
    for one in entry.rides:
        if one.went not in Went.values:
            raise UnableToLog("went", "Say how it went.", ride=one.ride_id)
        for note in one.notes:
            if note.what not in Happened.values or not (
                note.element is None or 1 <= note.element <= elements
            ):
                raise UnableToLog(
                    "note",
                    f"The row has {elements} elements: say again what happened where.",
                    ride=one.ride_id,
                )
    for gap, cm in entry.measured.items():
        if not (
            2 <= gap <= len(stages[0].elements) and LEAST_GAP_CM <= cm <= LONGEST_GAP_CM
        ):
            raise UnableToLog(
                "measured",
                f"A gap is from {LEAST_GAP_CM} cm to {LONGEST_GAP_CM} cm: measure the "
                f"one before element {gap} again.",
                field="measured",
            )


def _check_seen(entry: Entry, last: RideLog | None) -> None:
    number = 0 if last is None else last.number
    if entry.corrects == number:
        return
    who = "Somebody"
    if last is not None and last.logged_by is not None:
        who = last.logged_by.username
    raise UnableToLog(
        "changed-meanwhile",
        f"{who} logged this lesson while you were writing. Yours is still below: look "
        "at both, and press again.",
    )


def _write(log: RideLog, ride: Ride, one: RodeAs, stages: Sequence[BuiltStage]) -> None:
    jumped = one.went != Went.NOT_RIDDEN and log.stage > 0
    passes = log.passes if one.passes is None else one.passes
    ridden = RiddenRide.objects.create(
        log=log,
        ride=ride,
        rider_id=ride.rider_id,
        horse_id=ride.horse_id or 0,
        went=one.went if jumped else Went.NOT_RIDDEN,
        passes=passes if jumped else 0,
        quarter_efforts=ridden_quarters(
            [stage.elements for stage in stages],
            [stage.passes for stage in stages],
            stage=log.stage,
            passes_there=passes,
        )
        if jumped
        else 0,
    )
    RideNote.objects.bulk_create(
        RideNote(ridden=ridden, what=note.what, element=note.element, often=note.often)
        for note in (dict.fromkeys(one.notes) if jumped else ())
    )


def _summary(log: RideLog) -> dict[str, Any]:
    """Return a log in short, for the audit; what happened is in the log itself."""
    return {"number": log.number, "stage": log.stage, "passes": log.passes}
