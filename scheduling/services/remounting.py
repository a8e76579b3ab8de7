"""Another horse for each rider whose horse is out, by the matching of horses."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime

from scheduling.matching.engine import Given
from scheduling.matching.problem import Seat
from scheduling.matching.weighing import ruled_out, terms
from scheduling.services.matching import Proposal as Found
from scheduling.services.matching import propose
from scheduling.services.touched_items import (
    CANCEL,
    MOST_OPTIONS,
    NO_HORSE,
    Item,
    Option,
)
from school.models import Horse, Lesson, Ride
from school.queries.lessons import booked_rides
from school.services.out import Out
from school.services.refusals import UnableToBook

Barred = frozenset[tuple[int, object]]


def remount_day(
    day: date,
    out: Out,
    lessons: Sequence[Lesson],
    *,
    chosen: Mapping[str, str],
    barred: Barred,
    now: datetime,
    also: Mapping[int, Sequence[Lesson]],
) -> tuple[list[Item], bool]:
    """Return every ride of the horse on a day, each with the horse proposed for it.

    The other riders keep theirs. `barred` are rides with a horse a rule forbids;
    `also` what horses are to go in on the days that are settled already.
    """
    rides = [
        (lesson, ride)
        for lesson in lessons
        for ride in booked_rides(lesson)
        if ride.horse_id == out.pk
    ]
    picked = {ride.pk: chosen.get(f"ride-{ride.pk}", "") for _, ride in rides}
    found = propose(
        day=day,
        now=now,
        rides=[pk for pk, one in picked.items() if one not in {CANCEL, NO_HORSE}],
        fixed={
            pk: _horse_key(one)
            for pk, one in picked.items()
            if one not in {"", CANCEL, NO_HORSE}
        },
        without=[out.pk],
        barred=[(ride, int(str(horse))) for ride, horse in barred],
        also=also,
    )
    given = {one.seat: one for one in found.match.given}
    seats = {one.key: one for one in found.problem.seats}
    items = [
        _item(
            found, lesson, ride, given.get(ride.pk), seats.get(ride.pk), picked[ride.pk]
        )
        for lesson, ride in rides
    ]
    return items, found.match.proved


def _horse_key(choice: str) -> int:
    if not choice.isascii() or not choice.isdecimal() or len(choice) > 9:
        raise UnableToBook("choice", "Choose again what is to be done with each.")
    return int(choice)


def _item(
    found: Found,
    lesson: Lesson,
    ride: Ride,
    given: Given | None,
    seat: Seat | None,
    picked: str,
) -> Item:
    horse = found.horses.get(given.mount or 0) if given else None
    choice = str(horse.pk) if horse else picked or NO_HORSE
    why = found.match.unseated.get(ride.pk, {})
    next_best = found.horses.get(given.next_best or 0) if given else None
    return Item(
        key=f"ride-{ride.pk}",
        lesson=lesson,
        rides=booked_rides(lesson),
        choice=choice,
        says=_says(ride, horse, choice),
        terms=given.terms if given else (),
        next_best=str(next_best) if next_best else "",
        more=given.more if given and next_best else None,
        fixed=bool(picked),
        options=_options(found, ride, seat, horse),
        why=tuple(f"{found.horses[key]}: {says}" for key, says in why.items()),
        ride=ride,
        horse=horse,
    )


def _says(ride: Ride, horse: Horse | None, choice: str) -> str:
    name = ride.rider.person.first_name
    if choice == CANCEL:
        return f"{name} does not ride"
    return f"{name} on {horse}" if horse else f"{name} without a horse for now"


def _options(
    found: Found, ride: Ride, seat: Seat | None, horse: Horse | None
) -> tuple[Option, ...]:
    """Return the horses the rider may have, the best first."""
    name, ranked = ride.rider.person.first_name, []
    if seat is not None:
        weights = found.problem.weights
        for mount in found.problem.mounts:
            if not ruled_out(seat, mount, weights):
                points = sum(one.points for one in terms(seat, mount, weights))
                ranked.append((points, mount.name, mount.key))
    best = [key for _, _, key in sorted(ranked)[:MOST_OPTIONS]]
    if horse is not None and horse.pk not in best:
        best.append(horse.pk)
    return (
        *(Option(str(key), f"{name} on {found.horses[key]}") for key in best),
        Option(NO_HORSE, f"{name} without a horse for now"),
    )
