"""What a booking must keep, checked for the words; the database keeps the core."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from school.enums import LessonKind, Level, Liking, Work
from school.models import (
    Arena,
    Horse,
    Instructor,
    Rider,
    RiderHorse,
    School,
)
from school.queries.closures import closures_between
from school.queries.daylight import daylight, needs_daylight
from school.queries.horses import HorseDay, horse_days
from school.queries.meanwhile import Meanwhile
from school.queries.schools import school_zone, the_school
from school.services.refusals import UnableToBook, clock, hour
from school.services.welfare import Told, house_rules, told_of_day
from school.welfare.evaluate import weight_share
from school.welfare.rules import RULE, House

ORDER = list(Level.values)


def check_arena(
    arena: Arena,
    starts_at: datetime,
    ends_at: datetime,
    *,
    but: Iterable[int] = (),
    meanwhile: Meanwhile | None = None,
) -> None:
    """Refuse a time outside opening hours, in a closure, or in another lesson.

    `meanwhile` is what else is booked then, where it is asked for more than this.
    """
    school = the_school()
    zone = ZoneInfo(school.zone)
    first, last = starts_at.astimezone(zone), ends_at.astimezone(zone)
    if (
        first.date() != last.date()
        or first.time() < arena.opens_at
        or last.time() > arena.closes_at
    ):
        raise UnableToBook(
            "outside-hours",
            f"{arena} is open from {arena.opens_at:%H:%M} to {arena.closes_at:%H:%M}; "
            f"{hour(starts_at)} to {hour(ends_at)} lies outside.",
            arena=arena.pk,
        )
    if needs_daylight(arena):
        _check_light(school, arena, first, last)
    closure = closures_between(starts_at, ends_at).filter(arena=arena).first()
    if closure is not None:
        raise UnableToBook(
            "arena-closed",
            f"{arena} is closed from {clock(closure.closed_from)} to "
            f"{clock(closure.closed_to)} ({closure.reason}). Choose another time or "
            "arena.",
            arena=arena.pk,
        )
    meanwhile = meanwhile or Meanwhile(starts_at, ends_at, but=but)
    taken = meanwhile.in_arena(arena.pk)
    if taken is not None:
        raise UnableToBook(
            "arena-busy",
            f"{arena} is taken by {taken.title} until {hour(taken.ends_at)}.",
            arena=arena.pk,
            lesson=taken.pk,
        )


def _check_light(school: School, arena: Arena, first: datetime, last: datetime) -> None:
    """Refuse a time before sunrise or after sunset where there are no lights."""
    light = daylight(school, first.date())
    if light is None or (light.rises <= first and last <= light.sets):
        return
    day = f"{first.day} {first:%B}"
    says = f"dark from {light.sets:%H:%M} on {day}"
    if first < light.rises:
        says = f"dark until {light.rises:%H:%M} on {day}"
    raise UnableToBook(
        "dark",
        f"It is {says}; {arena} has no lights. Choose another time, or an arena "
        "with lights.",
        arena=arena.pk,
    )


def check_person(
    person_id: int,
    name: str,
    starts_at: datetime,
    ends_at: datetime,
    *,
    code: str,
    but: Iterable[int] = (),
    meanwhile: Meanwhile | None = None,
) -> None:
    """Refuse somebody who teaches or rides elsewhere at that time."""
    meanwhile = meanwhile or Meanwhile(starts_at, ends_at, but=but)
    taken = meanwhile.with_person(person_id)
    if taken is not None:
        raise UnableToBook(
            code,
            f"{name} is in {taken.title} until {hour(taken.ends_at)}.",
            lesson=taken.pk,
        )


def check_instructor(
    instructor: Instructor,
    starts_at: datetime,
    ends_at: datetime,
    *,
    places: int,
    but: Iterable[int] = (),
    meanwhile: Meanwhile | None = None,
) -> None:
    """Refuse an instructor who is busy, away, or given too large a group."""
    name = instructor.person.first_name
    if places > instructor.group_limit:
        raise UnableToBook(
            "group-too-large",
            f"{name} teaches up to {instructor.group_limit} riders, not {places}.",
            instructor=instructor.pk,
        )
    zone = school_zone()
    first, last = starts_at.astimezone(zone), ends_at.astimezone(zone)
    hours = list(instructor.hours.all())
    today = [one for one in hours if one.weekday == first.weekday()]
    if hours and not any(
        one.from_at <= first.time() and last.time() <= one.to_at for one in today
    ):
        raise UnableToBook(
            "instructor-away",
            f"{name} does not teach from {clock(starts_at)} to {hour(ends_at)}.",
            instructor=instructor.pk,
        )
    check_present(instructor, starts_at, ends_at)
    check_person(
        instructor.pk,
        name,
        starts_at,
        ends_at,
        code="instructor-busy",
        but=but,
        meanwhile=meanwhile,
    )


def check_leaders(
    kind: str,
    starts_at: datetime,
    ends_at: datetime,
    *,
    places: int,
    but: Iterable[int] = (),
    meanwhile: Meanwhile | None = None,
) -> None:
    """Refuse a lead-rein lesson with more places than there are leaders on foot.

    One leads each rider, so lessons at the same time share them.
    """
    if kind != LessonKind.LEAD_REIN:
        return
    leaders = the_school().leaders
    meanwhile = meanwhile or Meanwhile(starts_at, ends_at, but=but)
    others = [one for one in meanwhile.lessons if one.kind == kind]
    taken = sum(one.places for one in others)
    if taken + places <= leaders:
        return
    many = "leads" if leaders == 1 else "lead"
    also = f", and {others[0].title} has {taken} of them" if others else ""
    raise UnableToBook(
        "too-few-leaders",
        f"Each rider on the lead-rein has a leader on foot: {leaders} {many} here"
        f"{also}, so {places} places are too many. Give fewer places or another time, "
        "or set how many lead in the house rules.",
        field="places",
    )


def check_present(
    instructor: Instructor, starts_at: datetime, ends_at: datetime
) -> None:
    """Refuse an instructor who is out; why is for the manager alone."""
    then = [
        one
        for one in instructor.absences.all()
        if one.absent_from < ends_at and one.absent_to > starts_at
    ]
    absence = min(then, key=lambda one: (one.absent_from, one.pk), default=None)
    if absence is not None:
        raise UnableToBook(
            "instructor-out",
            f"{instructor.person.first_name} is out from "
            f"{clock(absence.absent_from)} to {clock(absence.absent_to)}. Choose "
            "another instructor or time.",
            instructor=instructor.pk,
        )


def check_horses(
    pairs: Sequence[tuple[Rider, Horse | None]],
    starts_at: datetime,
    ends_at: datetime,
    *,
    work: str,
    lesson: int | None = None,
    but: Iterable[int] = (),
) -> list[Told]:
    """Refuse horses unfit, too young or busy; return what else there is to say.

    The rules of their work are only told: `welfare.refuse` decides on them. Nine
    queries for any number of horses.
    """
    zone = school_zone()
    riders = {horse.pk: rider for rider, horse in pairs if horse is not None}
    horses = [horse for _, horse in pairs if horse is not None]
    if not horses:
        return []
    check_never_again(pairs)
    told, house = [], house_rules()
    for day in horse_days(horses, starts_at, ends_at, zone, but=but):
        check_horse_day(day, starts_at, ends_at, zone)
        told += told_of_day(
            day,
            starts_at,
            ends_at,
            zone,
            house,
            work=work,
            rider=riders[day.horse.pk],
            lesson=lesson,
        )
    return told


def check_horse_day(
    day: HorseDay, starts_at: datetime, ends_at: datetime, zone: ZoneInfo
) -> None:
    """Refuse a horse by what nobody can overrule: age, a state, another lesson."""
    horse = day.horse
    local = starts_at.astimezone(zone)
    if horse.bookable_from_date > local.date():
        raise UnableToBook(
            "horse-too-young",
            f"{horse} may be ridden from {horse.bookable_from_date:%d %b %Y}. By law "
            "or the school's rule for young horses this can't be overruled.",
            horse=horse.pk,
        )
    if day.states:
        state = day.states[0]
        until = (
            f"until {clock(state.state_to, zone)}"
            if state.state_to
            else "until further notice"
        )
        raise UnableToBook(
            "horse-unfit",
            f"{horse} is not to be ridden {until} ({state.get_kind_display()}: "
            f"{state.reason}). Give another horse.",
            horse=horse.pk,
        )
    for other in day.around:
        if other.starts_at < ends_at and other.ends_at > starts_at:
            raise UnableToBook(
                "horse-busy",
                f"{horse} goes in {other.title} until {hour(other.ends_at, zone)}.",
                horse=horse.pk,
                lesson=other.pk,
            )


def horses_able(
    starts_at: datetime, ends_at: datetime, *, work: str, but: Iterable[int] = ()
) -> list[Horse]:
    """Return every horse that could be booked for a time, by name, in nine queries."""
    zone, able, house = school_zone(), [], house_rules()
    horses = list(Horse.objects.order_by("name"))
    for day in horse_days(horses, starts_at, ends_at, zone, but=but):
        try:
            check_horse_day(day, starts_at, ends_at, zone)
        except UnableToBook:
            continue
        told = told_of_day(day, starts_at, ends_at, zone, house, work=work)
        if not any(one.hit.refuses for one in told):
            able.append(day.horse)
    return able


def carries(rider: Rider, horse: Horse, work: str, house: House) -> bool:
    """Say whether a horse may carry a rider by the school's rule of weight."""
    rule = "weight-jumping" if work == Work.JUMPING else "weight"
    limit = house.of(rule).refuse
    share = weight_share(rider.weight_kg + house.gear_kg, horse.weight_kg)
    return not RULE[rule].broken(share, limit)


def check_never_again(pairs: Sequence[tuple[Rider, Horse | None]]) -> None:
    """Refuse horses noted as never again for their riders, in one query."""
    given = {(rider.pk, horse.pk): (rider, horse) for rider, horse in pairs if horse}
    noted = RiderHorse.objects.filter(
        liking=Liking.NEVER,
        rider__in=[rider for rider, _ in given],
        horse__in=[horse for _, horse in given],
    ).order_by("pk")
    for pair in noted.values_list("rider_id", "horse_id"):
        if pair in given:
            rider, horse = given[pair]
            raise UnableToBook(
                "never-again",
                f"{rider.person.first_name} is never to ride {horse} again: so it is "
                "noted. Give another horse.",
                horse=horse.pk,
                rider=rider.pk,
            )


def check_teacher_level(instructor: Instructor, rider: Rider, work: str) -> None:
    """Refuse a jumping rider beyond what the instructor may teach."""
    if work != Work.JUMPING:
        return
    if ORDER.index(rider.level) > ORDER.index(instructor.level):
        raise UnableToBook(
            "instructor-level",
            f"{instructor.person.first_name} teaches jumping up to "
            f"{instructor.get_level_display().lower()}; "
            f"{rider.person.first_name} needs somebody further on.",
            instructor=instructor.pk,
            rider=rider.pk,
        )
