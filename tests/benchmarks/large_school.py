"""A large school in the records, by seed: for the benchmark that finds a time.

Four arenas, fifty horses, 230 lessons and about 650 rides a week, a third of the
lessons with grids; the same week again and again, as weekly lessons are. Written
straight into the tables: what is measured is not the booking.
"""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from random import Random
from zoneinfo import ZoneInfo

from school.models import (
    Arena,
    Client,
    Horse,
    Instructor,
    InstructorHours,
    Lesson,
    LessonGrid,
    Person,
    Ride,
    Rider,
)
from tests.benchmarks.yard_days import _ended, _row
from tests.factories.arenas import ArenaFactory, LineFactory, StorePieceFactory
from tests.factories.exercises import ExerciseRevisionFactory
from tests.factories.horses import HorseFactory
from tests.factories.people import (
    ClientFactory,
    GroundspersonFactory,
    InstructorFactory,
    RiderFactory,
)
from tests.factories.schools import SchoolFactory

ZONE = ZoneInfo("Europe/Amsterdam")
MONDAY = date(2027, 3, 1)
NOW = datetime(2027, 3, 1, 7, 0, tzinfo=ZONE)

LESSONS_A_WEEK, ROWS_A_DAY, EVERY_MIN = 230, 10, 75


@dataclass
class Size:
    """How large: lessons a week, horses, arenas, riders, instructors, weeks.

    `before` of the weeks lie before `MONDAY`.
    """

    lessons: int = LESSONS_A_WEEK
    horses: int = 50
    arenas: int = 4
    riders: int = 300
    teachers: int = 12
    weeks: int = 6
    before: int = 1


def build(size: Size, seed: int) -> None:
    """Write the school: some weeks before `MONDAY`, and the others from it on."""
    dice = Random(seed)
    SchoolFactory(place_every_cm=10, latitude=52.1, longitude=5.2)
    arenas = [
        ArenaFactory(
            name=f"Arena {n}",
            indoor=n % 2 == 0,
            lit=n != 3,
            opens_at=time(8),
            closes_at=time(21),
            length_cm=6000,
        )
        for n in range(size.arenas)
    ]
    for n, arena in enumerate(arenas):
        LineFactory(arena=arena, length_cm=5500)
        if n == 1:
            LineFactory(arena=arena, length_cm=5500)
    for piece, working in (("wing", 60), ("pole", 120), ("cup", 240), ("block", 40)):
        StorePieceFactory(piece=piece, working=working)
    GroundspersonFactory()
    GroundspersonFactory()
    people = _people(size, dice)
    _lessons(size, dice, arenas, *people)


def _people(
    size: Size, dice: Random
) -> tuple[list[Instructor], list[Horse], list[Rider]]:
    teachers = [
        InstructorFactory(level=dice.choice(["intermediate", "advanced", "advanced"]))
        for _ in range(size.teachers)
    ]
    for teacher in teachers:
        for weekday in dice.sample(range(7), 5):
            InstructorHours.objects.create(
                instructor=teacher,
                weekday=weekday,
                from_at=time(8),
                to_at=time(21),
            )
    horses = [
        HorseFactory(
            height_cm=(height := dice.randrange(125, 172)),
            weight_kg=round(height * height * height / 7400),
            level=dice.choice(["novice", "intermediate", "advanced"]),
            highest_fence_cm=dice.choice([60, 80, 100, 110]),
        )
        for _ in range(size.horses)
    ]
    every = [
        RiderFactory.build(
            person=Person(first_name=f"Rider{n}"),
            client=Client(person=Person(first_name=f"Client{n}")),
            weight_kg=dice.randrange(28, 82),
            level=dice.choice(["novice", "novice", "intermediate", "advanced"]),
        )
        for n in range(size.riders)
    ]
    for rider in every:
        rider.client = ClientFactory(person__first_name=str(rider.client.person))
        rider.person.save()
        rider.save()
    return teachers, horses, every


def _lessons(
    size: Size,
    dice: Random,
    arenas: list[Arena],
    teachers: list[Instructor],
    horses: list[Horse],
    riders: list[Rider],
) -> None:
    places = [
        (day, row, arena)
        for day in range(7)
        for row in range(ROWS_A_DAY)
        for arena in range(len(arenas))
    ]
    chosen = sorted(dice.sample(places, min(size.lessons, len(places))))
    revision = ExerciseRevisionFactory()
    shelf = [(row, _ended(dice, row)) for row in (_row(dice) for _ in range(12))]
    lessons, rides, grids = [], [], []
    load: dict[tuple[int, int], list[int]] = {}
    taught: set[tuple[int, int, int]] = set()
    for day, row, arena in chosen:
        start = 8 * 60 + 15 + row * EVERY_MIN
        minutes, count = dice.choice([45, 60]), dice.choice([1, 2, 3, 3, 4, 4])
        on = [t for t in range(len(teachers)) if (day, row, t) not in taught]
        teacher = dice.choice(on)
        taught.add((day, row, teacher))
        mounts = _free(dice, load, day, row, count, len(horses))
        seats = dice.sample(range(len(riders) // 4), count)
        # Four rides at once never share a rider: each arena has its own quarter.
        seats = [4 * one + arena % 4 for one in seats]
        grid = dice.choice(shelf) if dice.random() < 25 / 70 else None
        for week in range(-size.before, size.weeks - size.before):
            when = datetime.combine(
                MONDAY + timedelta(days=7 * week + day),
                time(start // 60, start % 60),
                tzinfo=ZONE,
            )
            lesson = Lesson(
                title=f"Ride {len(lessons)}",
                kind="private" if count == 1 else "group",
                work="jumping" if grid or dice.random() < 0.1 else "flat",
                starts_at=when,
                ends_at=when + timedelta(minutes=minutes),
                arena=arenas[arena],
                instructor=teachers[teacher],
                places=count,
                warm_up_min=15,
                state="booked",
                state_at=NOW,
                changed_at=NOW,
            )
            lessons.append(lesson)
            rides += [
                Ride(lesson=lesson, rider=riders[r], horse=horses[h])
                for r, h in zip(seats, mounts, strict=True)
            ]
            if grid is not None:
                grids.append(
                    LessonGrid(
                        lesson=lesson,
                        revision=revision,
                        tradition="schooling",
                        start=grid[0],
                        end=grid[1],
                        approach_cm=700,
                        runout_cm=700,
                    )
                )
    Lesson.objects.bulk_create(lessons)
    Ride.objects.bulk_create(rides)
    LessonGrid.objects.bulk_create(grids)


def _free(
    dice: Random,
    load: dict[tuple[int, int], list[int]],
    day: int,
    row: int,
    count: int,
    horses: int,
) -> list[int]:
    """Choose horses that have the fewest lessons that day, and a rest before.

    Each has a day of the week off.
    """
    rested = [
        one
        for one in range(horses)
        if one % 7 != day
        and not {row, row - 1} & set(load.get((day, one), []))
        and len(load.get((day, one), [])) < 3
    ]
    dice.shuffle(rested)
    rested.sort(key=lambda one: len(load.get((day, one), [])))
    for one in rested[:count]:
        load.setdefault((day, one), []).append(row)
    return rested[:count]
