"""Horses to riders for a lesson or a day: proposed, looked at, and given at once."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db import transaction

from scheduling.convert.matches import match_from_data
from scheduling.matching.engine import Given, Match, UnableToMatch, match
from scheduling.matching.problem import (
    Held,
    Liking,
    Mount,
    Problem,
    Seat,
    Term,
    Weights,
)
from scheduling.matching.together import Refuses
from scheduling.matching.weighing import ruled_out
from scheduling.services.joint_work import NEVER, JointWork, joint_work, weights_of
from school.enums import HOLDING_STATES, LessonState, Level, RideState, Work
from school.models import Account, Horse, Lesson, LessonGrid, Ride
from school.queries.lessons import day_bounds
from school.queries.matching import MatchRows, match_rows
from school.queries.schools import school_zone
from school.services.refusals import UnableToBook
from school.services.rides import change_horses
from school.services.welfare import overruled

ORDER = list(Level.values)
STANDS = Term("overruled", 0, "stands as it was overruled, with a reason")
OPEN = {LessonState.ASKED, LessonState.BOOKED, LessonState.CONFIRMED}


@dataclass(frozen=True, slots=True)
class Kept:
    """Rides with the best horse for each, and the horses by key."""

    rides: list[Ride]
    horses: dict[int, Horse]
    match: Match


@dataclass(frozen=True, slots=True)
class Proposal(Kept):
    """The same as it was just found, with the question it answers."""

    problem: Problem


@dataclass(frozen=True, slots=True)
class ToMatch:
    """Rides that want a horse, the horses by key, and the question in numbers.

    `refuses` says which rides no horse may go in together; `stand` are those fixed as
    they are, against a rule and with a reason: they are no question any more, but what
    their horses do.
    """

    rides: list[Ride]
    horses: dict[int, Horse]
    problem: Problem
    refuses: Refuses
    stand: frozenset[int] = frozenset()

    def matched(self, **how: Any) -> Match:
        """Find the best horses, and add what stands; takes what `match` takes.

        Touches no database. Raises UnableToMatch where what is fixed can't be.
        """
        found = match(self.problem, refuses=self.refuses, **how)
        known = {one.seat: one for one in found.given}
        known |= {
            one.pk: Given(one.pk, one.horse_id, (STANDS,))
            for one in self.rides
            if one.pk in self.stand
        }
        return replace(found, given=tuple(known[one.pk] for one in self.rides))


def propose(
    *,
    day: date,
    now: datetime,
    lesson: int | None = None,
    rides: Iterable[int] | None = None,
    fixed: Mapping[int, int] | None = None,
    without: Iterable[int] = (),
    barred: Iterable[tuple[int, int]] = (),
    also: Mapping[int, Sequence[Lesson]] | None = None,
) -> Proposal:
    """Propose horses for what has not begun of a day, of one lesson, or some rides.

    Nothing is written. `fixed` says which ride has which horse; `without` are horses
    not to be had, `barred` rides with a horse that a rule was found to forbid; `also`
    what horses are to go in on other days. Raises UnableToBook where what is fixed
    can't be.
    """
    asked = to_match(
        day=day, now=now, lesson=lesson, rides=rides, fixed=fixed, without=without,
        barred=barred, also=also,
    )  # fmt: skip
    try:
        found = asked.matched()
    except UnableToMatch as error:
        raise UnableToBook("fixed", str(error)) from error
    return Proposal(asked.rides, asked.horses, found, asked.problem)


def kept_proposal(result: Mapping[str, Any], now: datetime) -> Kept:
    """Return what a search found of the rides that may still be given a horse.

    Two queries; the horses so far are those of now.
    """
    found = match_from_data(dict(result))
    rides = Ride.objects.filter(
        pk__in=[one.seat for one in found.given],
        state=RideState.BOOKED,
        lesson__state__in=OPEN,
        lesson__starts_at__gt=now,
    ).select_related("lesson", "rider__person", "horse")
    known = {one.pk: one for one in rides}
    given = tuple(one for one in found.given if one.seat in known)
    horses = {one.pk: one for one in Horse.objects.order_by("name", "pk")}
    return Kept([known[one.seat] for one in given], horses, replace(found, given=given))


def to_match(
    *,
    day: date,
    now: datetime,
    lesson: int | None = None,
    rides: Iterable[int] | None = None,
    fixed: Mapping[int, int] | None = None,
    without: Iterable[int] = (),
    barred: Iterable[tuple[int, int]] = (),
    also: Mapping[int, Sequence[Lesson]] | None = None,
) -> ToMatch:
    """Return what is asked of a day, a lesson or some rides, read from the records."""
    zone = school_zone()
    rows = match_rows(day, zone)
    wanted = None if rides is None else set(rides)
    asked = [
        one
        for one in rows.rides
        if one.lesson.state in OPEN
        and one.lesson.starts_at > now
        and (lesson is None or one.lesson_id == lesson)
        and (wanted is None or one.pk in wanted)
    ]
    stand = _standing(rows, asked, fixed or {})
    free = [one for one in asked if one.pk not in stand]
    work = joint_work(
        day, zone, asked=free, rides=rows.rides, horses=rows.horses, also=also or {}
    )
    problem = _problem(rows, free, work, fixed or {}, set(without), set(barred))
    horses = {one.pk: one for one in rows.horses}
    return ToMatch(asked, horses, problem, work.refuses, stand)


def _standing(
    rows: MatchRows, asked: list[Ride], fixed: Mapping[int, int]
) -> frozenset[int]:
    """Return which rides are fixed as they stand, by a reason that was given.

    What no reason helps against is asked like any other pair, and refused.
    """
    stand = [
        one
        for one in asked
        if one.horse_id is not None
        and fixed.get(one.pk) == one.horse_id
        and one.lesson.state in HOLDING_STATES
        and not _ruled_out_for_good(rows, one, one.horse_id)
    ]
    return frozenset(overruled(stand, rows.date)) if stand else frozenset()


def _ruled_out_for_good(rows: MatchRows, ride: Ride, horse: int) -> bool:
    """Say whether a pair can't be whatever else its horse does that day."""
    seat = _seat(rows, ride, ride.lesson.starts_at, None, {})
    its = next(one for one in rows.horses if one.pk == horse)
    mount = replace(
        _mount(rows, its, ride.lesson.starts_at, set()),
        held=(), max_lessons=NEVER, max_s=NEVER * 60,
    )  # fmt: skip
    return bool(ruled_out(seat, mount, replace(Weights(), refuse_share=NEVER)))


def give_horses(
    *,
    wanted: Mapping[int, int],
    seen: Mapping[int, int | None],
    by: Account | None,
    now: datetime,
) -> list[Ride]:
    """Give the horses that were looked at, all or none; twice is harmless.

    Raises
    ------
    UnableToBook
        Where a ride is gone or has another horse than was `seen`, or a rule forbids
        one of the horses.
    """
    with transaction.atomic():
        rides = Ride.objects.select_related("rider__person", "horse", "lesson")
        known = {one.pk: one for one in rides.filter(pk__in=wanted)}
        horses = Horse.objects.in_bulk(list(wanted.values()))
        changes = []
        for pk, horse in wanted.items():
            if pk not in known or horse not in horses:
                raise UnableToBook(
                    "gone", "A ride or horse is not there any more. Look again."
                )
            ride = known[pk]
            if ride.horse_id not in (seen.get(pk), horse):
                raise UnableToBook(
                    "changed-meanwhile",
                    f"{ride.rider.person.first_name} in {ride.lesson.title} was given "
                    f"{ride.horse or 'no horse'} while you looked. Look again, then "
                    "give the horses.",
                    lesson=ride.lesson_id,
                )
            changes.append((ride, horses[horse]))
        return change_horses(changes=changes, by=by, now=now)


def _problem(
    rows: MatchRows,
    asked: list[Ride],
    work: JointWork,
    fixed: Mapping[int, int],
    without: set[int],
    forbidden: set[tuple[int, int]],
) -> Problem:
    first, _ = day_bounds(rows.date, work.zone)
    own = {one.pk for one in asked}
    barred = {ride.pk: _barred(rows, ride, work) for ride in asked}
    for ride, horse in forbidden:
        if ride in barred:
            barred[ride].setdefault(horse, "a rule of its work forbids it")
    seats = [
        _seat(rows, one, first, fixed.get(one.pk), barred[one.pk]) for one in asked
    ]
    mounts = [
        _mount(rows, horse, first, own)
        for horse in rows.horses
        if horse.pk not in without
    ]
    return Problem(tuple(seats), tuple(mounts), weights_of(work.house))


def _barred(rows: MatchRows, ride: Ride, work: JointWork) -> dict[int, str]:
    """Return the horses that the rules of horses' work forbid a rider, with why."""
    why = {one.pk: work.why_not(ride, one) for one in rows.horses}
    return {horse: says for horse, says in why.items() if says}


def _seat(
    rows: MatchRows,
    ride: Ride,
    first: datetime,
    fixed: int | None,
    barred: dict[int, str],
) -> Seat:
    lesson, rider = ride.lesson, ride.rider
    grid = rows.grids.get(lesson.pk)
    rode = {h: (r, h) in rows.too_much for r, h in rows.rode if r == rider.pk}
    return Seat(
        key=ride.pk,
        name=rider.person.first_name,
        lesson=lesson.pk,
        from_s=_s(lesson.starts_at, first),
        to_s=_s(lesson.ends_at, first),
        weight_kg=rider.weight_kg,
        level=ORDER.index(rider.level),
        highest_fence_cm=rider.highest_fence_cm,
        height_cm=rider.height_cm,
        jumping=lesson.horse_work == Work.JUMPING,
        fence_cm=_highest(grid),
        grid_level=_level(grid),
        confidence=rows.confidence.get(rider.pk, 3),
        rode=rode,
        likes={one.horse_id: Liking(one.liking) for one in rider.likings.all()},
        barred=barred,
        now=ride.horse_id,
        fixed=fixed,
    )


def _highest(grid: LessonGrid | None) -> int:
    rows = [*grid.start, *grid.end] if grid else []
    return max((one.get("height_cm", 0) for one in rows), default=0)


def _level(grid: LessonGrid | None) -> int:
    named = grid.revision.spec.get("horse_level") if grid else None
    return ORDER.index(named) if named in ORDER else 0


def _mount(rows: MatchRows, horse: Horse, first: datetime, own: set[int]) -> Mount:
    held = [
        Held(
            _s(one.lesson.starts_at, first),
            _s(one.lesson.ends_at, first),
            f"goes in {one.lesson.title}",
            jumping=one.lesson.horse_work == Work.JUMPING,
        )
        for one in rows.rides
        if one.horse_id == horse.pk
        and one.pk not in own
        and one.lesson.state in HOLDING_STATES
    ]
    before = [one.lesson for one in rows.yesterday if one.horse_id == horse.pk]
    seconds = [(one.ends_at - one.starts_at).total_seconds() for one in before]
    return Mount(
        key=horse.pk,
        name=horse.name,
        weight_kg=horse.weight_kg,
        height_cm=horse.height_cm,
        level=ORDER.index(horse.level),
        highest_fence_cm=horse.highest_fence_cm,
        rest_s=horse.rest_min * 60,
        max_lessons=horse.max_lessons,
        max_s=horse.max_minutes * 60,
        yesterday_min=int(sum(seconds) // 60),
        jumped_yesterday=any(one.horse_work == Work.JUMPING for one in before),
        held=(*held, *_away(horse, rows.date, first)),
    )


def _away(horse: Horse, day: date, first: datetime) -> list[Held]:
    """Return when a horse is not to be ridden that day, and why."""
    end = 2 * 86400
    away = []
    if horse.bookable_from_date > day:
        away.append(Held(0, end, "too young for the school", work=False))
    if day.weekday() in {one.weekday for one in horse.days_off.all()}:
        away.append(Held(0, end, "has its day off", work=False))
    for one in getattr(horse, "states_now", []):
        until = _s(one.state_to, first) if one.state_to else end
        words = f"not to be ridden ({one.get_kind_display().lower()}: {one.reason})"
        away.append(Held(_s(one.state_from, first), until, words, work=False))
    return away


def _s(moment: datetime, first: datetime) -> int:
    """Return the seconds from the first moment of the day, also on long days."""
    return int(moment.timestamp() - first.timestamp())
