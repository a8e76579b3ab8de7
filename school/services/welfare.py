"""Whether a horse may be asked for a lesson: warned of, refused, or overruled."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from school.convert import house_of, planned_quarters
from school.enums import HOLDING_STATES, RideState, Work
from school.models import (
    Account,
    Horse,
    Lesson,
    LessonGrid,
    Ride,
    Rider,
    WelfareOverride,
)
from school.queries.heat import heat_total
from school.queries.horses import HorseDay, horse_days, overrides_around
from school.queries.lessons import day_bounds
from school.queries.riders import years_between
from school.queries.schools import school_zone, the_school
from school.services.audit import record
from school.services.refusals import UnableToBook, hour
from school.welfare.evaluate import Asked, Hit, OwnLimits, Stint, hits
from school.welfare.rules import RULE, House
from school.welfare.words import SENSITIVE, hit_words

LONGEST_REASON = 400

OF_A_DAY = frozenset(
    {
        "lessons-day",
        "minutes-day",
        "rest",
        "in-a-row",
        "day-off",
        "jumping-day",
        "efforts",
        "efforts-high",
        "heat",
    }
)
"""Rules for which what was overruled in another lesson of the same day counts."""

BESIDE = frozenset({"rest", "in-a-row"})
"""Rules of what another lesson is too near to."""

_CODES = {
    "weight": "too-heavy",
    "weight-jumping": "too-heavy",
    "lessons-day": "horse-limit",
    "minutes-day": "horse-limit",
    "rest": "horse-rest",
    "day-off": "horse-day-off",
}


@dataclass(frozen=True, slots=True)
class Told:
    """A hit with whom and which day it concerns, and the words for it.

    `beside` names the lesson that is too near, where rest is short.
    """

    hit: Hit
    horse: Horse
    rider: Rider | None
    day: str
    beside: str = ""

    @property
    def says(self) -> str:
        """The hit in full, for those who may see a rider's weight."""
        who = str(self.horse)
        if self.rider is not None and self.hit.rule in SENSITIVE:
            who += f" with {self.rider.person.first_name}"
        return f"{who} {hit_words(self.hit, self.day)}.{self.beside}"

    @property
    def says_openly(self) -> str:
        """The hit without any figure from which a weight could be told."""
        if self.rider is not None and self.hit.rule in SENSITIVE:
            return (
                f"{self.horse} should not carry {self.rider.person.first_name}: choose "
                "a stronger horse."
            )
        return self.says


def told_of_day(
    day: HorseDay,
    starts_at: datetime,
    ends_at: datetime,
    zone: ZoneInfo,
    house: House,
    *,
    work: str,
    rider: Rider | None = None,
    lesson: int | None = None,
    others: tuple[Stint, ...] | None = None,
) -> list[Told]:
    """Return what a lesson would break of the rules of a horse's work.

    Parameters
    ----------
    day
        What the horse does around that time, without the lesson itself.
    lesson
        The lesson's key where it is booked already: its grid's efforts count.
    others
        What the horse does besides, where that is known; many times are asked of.
    """
    horse = day.horse
    local = starts_at.astimezone(zone)
    asked = Asked(
        stint=_stint(
            *(starts_at, ends_at, zone, work),
            day.grids.get(lesson or 0),
            day.logged.get(lesson or 0),
        ),
        others=_others_of(day, zone) if others is None else others,
        own=OwnLimits(horse.rest_min, horse.max_lessons, horse.max_minutes),
        horse_kg=horse.weight_kg,
        rider_kg=None if rider is None else rider.weight_kg,
        years=years_between(horse.born_date, local.date()),
        day_off=local.weekday() in day.days_off,
        heat=None if day.heat is None else heat_total(day.heat),
    )
    found = hits(asked, house)
    beside = ""
    if any(one.rule in BESIDE for one in found):
        beside = _beside(_nearest(day.around, starts_at, ends_at), zone)
    return [
        Told(one, horse, rider, f"{local:%A}", beside if one.rule in BESIDE else "")
        for one in found
    ]


def _beside(near: Lesson | None, zone: ZoneInfo) -> str:
    if near is None:
        return ""
    return (
        f" {near.title} is from {hour(near.starts_at, zone)} to "
        f"{hour(near.ends_at, zone)}."
    )


def _others_of(day: HorseDay, zone: ZoneInfo) -> tuple[Stint, ...]:
    return tuple(
        stint_of(one, zone, day.grids.get(one.pk), day.logged.get(one.pk))
        for one in day.around
    )


def _nearest(
    others: Iterable[Lesson], starts_at: datetime, ends_at: datetime
) -> Lesson | None:
    return min(
        others,
        key=lambda one: max(starts_at - one.ends_at, one.starts_at - ends_at),
        default=None,
    )


def stint_of(
    lesson: Lesson, zone: ZoneInfo, grid: LessonGrid | None, logged: int | None = None
) -> Stint:
    """Return a lesson as the rules count it.

    Its efforts are those of its grid as planned, or the quarters that were logged.
    """
    times = (lesson.starts_at, lesson.ends_at)
    return _stint(*times, zone, lesson.horse_work, grid, logged)


def _stint(
    starts_at: datetime,
    ends_at: datetime,
    zone: ZoneInfo,
    work: str,
    grid: LessonGrid | None,
    logged: int | None,
) -> Stint:
    quarters, highest = (0, 0) if grid is None else planned_quarters(grid)
    return Stint(
        start=int(starts_at.timestamp() // 60),
        end=int(ends_at.timestamp() // 60),
        day=starts_at.astimezone(zone).date().toordinal(),
        jumping=work == Work.JUMPING,
        quarter_efforts=quarters if logged is None else logged,
        highest_cm=highest,
    )


def told_of_lesson(lesson: Lesson) -> list[Told]:
    """Return what a lesson breaks of the rules as it is booked, in nine queries."""
    if lesson.state not in HOLDING_STATES:
        return []
    zone, house = school_zone(), house_rules()
    rides = lesson.rides.filter(state=RideState.BOOKED, horse__isnull=False)
    by_horse = {
        one.horse: one.rider
        for one in rides.select_related("horse", "rider__person").order_by("pk")
        if one.horse is not None
    }
    times = (lesson.starts_at, lesson.ends_at)
    told = []
    for day in horse_days(list(by_horse), *times, zone, but=[lesson.pk]):
        told += told_of_day(
            day,
            *times,
            zone,
            house,
            work=lesson.horse_work,
            rider=by_horse[day.horse],
            lesson=lesson.pk,
        )
    return told


def told_of_horses(day: date, horses: Sequence[Horse]) -> dict[int, list[Told]]:
    """Return what horses' work on a day breaks, by their keys, in nine queries.

    Each rule once a horse, at its worst; what a rider weighs is told of the lesson.
    """
    zone, house = school_zone(), house_rules()
    found: dict[int, list[Told]] = {}
    for one in horse_days(horses, *day_bounds(day, zone), zone):
        worst: dict[str, Told] = {}
        for lesson in one.lessons:
            for told in told_of_day(
                *(_without(one, lesson), lesson.starts_at, lesson.ends_at, zone, house),
                work=lesson.horse_work,
                lesson=lesson.pk,
            ):
                known = worst.get(told.hit.rule)
                if known is None or told.hit.refuses > known.hit.refuses:
                    worst[told.hit.rule] = told
        found[one.horse.pk] = sorted(worst.values(), key=lambda x: not x.hit.refuses)
    return found


def _without(day: HorseDay, lesson: Lesson) -> HorseDay:
    """Return what a horse does around a day but for one lesson."""
    return replace(
        day,
        lessons=[other for other in day.lessons if other != lesson],
        around=[other for other in day.around if other != lesson],
    )


def worse(told: Iterable[Told], was: Iterable[Told]) -> list[Told]:
    """Return the hits that were not there before, or not as bad."""
    known = {(one.horse.pk, one.hit.rule): one.hit for one in was}
    left = []
    for one in told:
        before = known.get((one.horse.pk, one.hit.rule))
        rule = RULE[one.hit.rule]
        if (
            before is None
            or (one.hit.refuses and not before.refuses)
            or rule.broken(one.hit.figure, before.figure)
        ):
            left.append(one)
    return left


def house_rules() -> House:
    """Return the rules of horses' work as the school has set them."""
    return house_of(the_school())


def refuse(
    told: Iterable[Told],
    starts_at: datetime,
    zone: ZoneInfo,
    *,
    overrule: str,
    by: Account | None,
    lesson: int | None = None,
) -> None:
    """Raise what refuses, unless it is overruled with a reason and a name.

    What was overruled before counts on, up to the figure it was overruled for.

    Raises
    ------
    UnableToBook
        Overridable, with every hit.
    """
    every = [one for one in told if one.hit.refuses]
    if not every or (overrule.strip() and by is not None):
        return
    horses = {one.horse for one in every}
    known = overrides_around(horses, starts_at, zone, own=lesson)
    left = [one for one in every if not _kept(one, known, starts_at, zone, lesson)]
    if not left:
        return
    raise UnableToBook(
        _CODES.get(left[0].hit.rule, "welfare"),
        " ".join(dict.fromkeys(one.says_openly for one in left)),
        overridable=True,
        details=[one.says for one in left],
        horse=left[0].horse.pk,
        rules=[one.hit.rule for one in left],
        **({} if lesson is None else {"lesson": lesson}),
    )


def overruled(rides: Sequence[Ride], day: date) -> set[int]:
    """Return which rides of a day stand only by a reason, in eight queries.

    Each with its horse breaks a rule, and all it breaks was overruled, for figures
    as bad.
    """
    zone, house, times = school_zone(), house_rules(), day_bounds(day, school_zone())
    horses = {one.horse for one in rides if one.horse is not None}
    days = {one.horse.pk: one for one in horse_days(list(horses), *times, zone)}
    known = overrides_around(horses, times[0], zone)
    found = set()
    for ride in rides:
        if ride.horse_id is None:
            continue
        lesson = ride.lesson
        told = told_of_day(
            *(_without(days[ride.horse_id], lesson), lesson.starts_at, lesson.ends_at),
            zone,
            house,
            work=lesson.horse_work,
            rider=ride.rider,
            lesson=lesson.pk,
        )
        refuses = [one for one in told if one.hit.refuses]
        starts_at = lesson.starts_at
        if refuses and all(
            _kept(one, known, starts_at, zone, lesson.pk) for one in refuses
        ):
            found.add(ride.pk)
    return found


def _kept(
    told: Told,
    known: Iterable[WelfareOverride],
    starts_at: datetime,
    zone: ZoneInfo,
    lesson: int | None,
) -> bool:
    """Say whether a hit was overruled before, for a figure as bad."""
    day = starts_at.astimezone(zone).date()
    for one in known:
        same_day = one.lesson.starts_at.astimezone(zone).date() == day
        if one.rule != told.hit.rule or one.horse_id != told.horse.pk:
            continue
        if one.lesson_id != lesson and not (one.rule in OF_A_DAY and same_day):
            continue
        if told.hit.rule in SENSITIVE and one.rider_id != (
            told.rider and told.rider.pk
        ):
            continue
        if not RULE[one.rule].broken(told.hit.figure, one.figure):
            return True
    return False


def keep(
    told: Sequence[Told],
    lesson: Lesson,
    *,
    overrule: str,
    by: Account | None,
    now: datetime,
) -> None:
    """Write down what a booking warned of, and what it overruled, by whom and why."""
    reason = overrule.strip()[:LONGEST_REASON]
    for one in told:
        if not one.hit.refuses or not reason or by is None:
            continue
        WelfareOverride.objects.update_or_create(
            lesson=lesson,
            horse=one.horse,
            rule=one.hit.rule,
            defaults={
                "rider": one.rider,
                "figure": one.hit.figure,
                "limit": one.hit.limit,
                "reason": reason,
                "by": by,
                "at": now,
            },
        )
        record(
            by=by,
            at=now,
            action="overrule",
            subject=lesson,
            after=_as_data(one) | {"reason": reason},
        )
    warned = [_as_data(one) for one in told if not one.hit.refuses]
    if warned:
        record(by=by, at=now, action="warned", subject=lesson, after={"hits": warned})


def _as_data(told: Told) -> dict[str, object]:
    hit = told.hit
    return {
        "rule": hit.rule,
        "horse": told.horse.name,
        "figure": hit.figure,
        "limit": hit.limit,
        "source": hit.source,
    }
