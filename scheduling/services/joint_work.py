"""What the rules of horses' work say of a day's rides, one by one and together.

Read once with the records at hand; what comes of it touches no database, so that a
worker's thread may ask it.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from zoneinfo import ZoneInfo

from scheduling.matching.problem import Weights
from school.models import Horse, Lesson, Ride
from school.queries.horses import HorseDay, horse_days
from school.queries.lessons import day_bounds
from school.services.welfare import house_rules, stint_of, told_of_day
from school.welfare.evaluate import Asked, OwnLimits, Stint, hits
from school.welfare.rules import House
from school.welfare.words import hit_words

NEVER = 10_000
"""A share that nothing reaches."""


def weights_of(house: House) -> Weights:
    """Return the weights of matching, with the shares the school watches.

    From where a share is refused is kept by the rules, which bar the horse.
    """

    def thousandths(figure: float | None) -> int:
        return NEVER if figure is None else round(figure * 10)

    return Weights(
        saddle_kg=round(house.gear_kg),
        watch_share=thousandths(house.of("weight").warn),
        watch_share_jumping=thousandths(house.of("weight-jumping").warn),
        refuse_share=NEVER,
    )


@dataclass(slots=True)
class JointWork:
    """A day's rides that are to be given horses, against what each horse does.

    `days` are without the lessons of the rides; `also` is what else a horse goes in:
    with riders of these lessons who keep it, and what is given it on other days.
    """

    zone: ZoneInfo
    house: House
    days: Mapping[int, HorseDay]
    also: Mapping[int, Sequence[Lesson]]
    lessons: Mapping[int, Lesson]
    _others: dict[int, tuple[Stint, ...]] = field(default_factory=dict)

    def refuses(self, horse: int, rides: tuple[int, ...]) -> bool:
        """Say whether a horse may not go in all of these rides, whoever rides it."""
        its = self.days[horse]
        own = its.horse
        limits = OwnLimits(own.rest_min, own.max_lessons, own.max_minutes)
        mine = [self._stint(its, self.lessons[ride]) for ride in rides]
        others = self._others_of(horse)
        for n, one in enumerate(mine):
            asked = Asked(one, (*others, *mine[:n], *mine[n + 1 :]), limits)
            if any(hit.refuses for hit in hits(asked, self.house)):
                return True
        return False

    def why_not(self, ride: Ride, horse: Horse) -> str:
        """Say which rules keep a horse from a ride, with figure, limit and source.

        What it is held for at that time is said elsewhere.
        """
        its, lesson = self.days[horse.pk], ride.lesson
        held = [*its.around, *self.also.get(horse.pk, ())]
        if any(
            one.starts_at < lesson.ends_at and lesson.starts_at < one.ends_at
            for one in held
        ):
            return ""
        told = told_of_day(
            its,
            lesson.starts_at,
            lesson.ends_at,
            self.zone,
            self.house,
            work=lesson.horse_work,
            rider=ride.rider,
            lesson=lesson.pk,
            others=self._others_of(horse.pk),
        )
        return "; ".join(hit_words(x.hit, x.day) for x in told if x.hit.refuses)

    def _others_of(self, horse: int) -> tuple[Stint, ...]:
        if horse not in self._others:
            its = self.days[horse]
            every = [*its.around, *self.also.get(horse, ())]
            self._others[horse] = tuple(self._stint(its, one) for one in every)
        return self._others[horse]

    def _stint(self, its: HorseDay, lesson: Lesson) -> Stint:
        grid, logged = its.grids.get(lesson.pk), its.logged.get(lesson.pk)
        return stint_of(lesson, self.zone, grid, logged)


def joint_work(
    day: date,
    zone: ZoneInfo,
    *,
    asked: Collection[Ride],
    rides: Iterable[Ride],
    horses: Sequence[Horse],
    also: Mapping[int, Sequence[Lesson]],
) -> JointWork:
    """Return what the rules say of a day's rides, in seven queries.

    Parameters
    ----------
    asked
        The rides that want a horse.
    rides
        All of the day; of those in the same lessons, the others keep their horses.
    also
        What horses go in besides that is not booked yet.
    """
    lessons = {one.lesson_id for one in asked}
    own = {one.pk for one in asked}
    more = {key: list(its) for key, its in also.items()}
    for one in rides:
        if one.lesson_id in lessons and one.pk not in own and one.horse_id is not None:
            more.setdefault(one.horse_id, []).append(one.lesson)
    times = day_bounds(day, zone)
    days = horse_days(horses, *times, zone, but=lessons)
    return JointWork(
        zone=zone,
        house=house_rules(),
        days={one.horse.pk: one for one in days},
        also=more,
        lessons={one.pk: one.lesson for one in asked},
    )
