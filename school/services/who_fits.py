"""Who of those who wait fits a place that is free, why, and why the others do not.

Read for a manager alone: the reasons speak of weight, age and consent.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from school.convert import house_of
from school.enums import Level, Liking, OfferState, RideState
from school.models import Horse, Lesson, WaitingOffer, WaitingWish
from school.queries.riders import is_minor, years_between
from school.queries.schools import the_school
from school.queries.waiting import AHEAD, free_places, held_between, open_wishes
from school.services.checks import carries
from school.services.refusals import clock
from school.welfare.rules import House

ORDER = list(Level.values)
NAMED = 3
"""So many horses are named; of more only the number is said."""


@dataclass(frozen=True, slots=True)
class Reason:
    """What speaks for a wish and a place (`good`), or against them.

    `firm` reasons keep them apart; others are to be looked at.
    """

    says: str
    good: bool = False
    firm: bool = False


@dataclass(frozen=True, slots=True)
class Pairing:
    """A wish and a lesson with a free place, and all that is said of the two.

    `offered` says until when an offer stands; `before` how the last one ended.
    """

    wish: WaitingWish
    lesson: Lesson
    reasons: tuple[Reason, ...]
    offered: str = ""
    before: str = ""

    @property
    def fits(self) -> bool:
        """Whether nothing firm keeps them apart."""
        return not self.against

    @property
    def good(self) -> list[str]:
        """What speaks for them."""
        return [one.says for one in self.reasons if one.good]

    @property
    def against(self) -> list[str]:
        """What keeps them apart."""
        return [one.says for one in self.reasons if one.firm]

    @property
    def look_at(self) -> list[str]:
        """What is to be looked at, though it keeps nobody apart."""
        return [one.says for one in self.reasons if not one.firm and not one.good]

    @property
    def rank(self) -> tuple[int, int, datetime, int]:
        """Fewest reasons against, then fewest to look at, then who waits longest."""
        return (
            len(self.against),
            len(self.look_at),
            self.wish.made_at,
            self.wish.pk,
        )


@dataclass(frozen=True, slots=True)
class _World:
    """What all pairings are judged by, read once."""

    zone: ZoneInfo
    of_age: int
    house: House
    horses: Sequence[Horse]
    held: Sequence[tuple[str, int, datetime, datetime | None, int | None]]
    now: datetime

    def taken(self, what: str, lesson: Lesson) -> dict[int, int | None]:
        """Return who or what is held while a lesson lasts, and by which lesson."""
        return {
            which: by
            for kind, which, first, last, by in self.held
            if kind == what
            and first < lesson.ends_at
            and (last is None or last > lesson.starts_at)
        }


def who_fits(lesson: Lesson, now: datetime) -> list[Pairing]:
    """Return everybody who waits against one lesson's place, the best first."""
    world = _world([lesson], now)
    return sorted(
        (_pair(wish, lesson, world) for wish in open_wishes()),
        key=lambda one: one.rank,
    )


@dataclass(frozen=True, slots=True)
class Waits:
    """A wish with the places of the next two weeks that fit, and those that nearly do.

    `nearly` are kept apart by one reason each.
    """

    wish: WaitingWish
    fits: tuple[Pairing, ...]
    nearly: tuple[Pairing, ...]


def waiting_list(now: datetime) -> list[Waits]:
    """Return who waits, the longest first; queries do not grow with either side."""
    lessons = free_places(now, now + AHEAD)
    world = _world(lessons, now)
    waits = []
    for wish in open_wishes():
        pairs = [_pair(wish, one, world) for one in lessons]
        waits.append(
            Waits(
                wish,
                tuple(
                    sorted(
                        (one for one in pairs if one.fits),
                        key=lambda one: (len(one.look_at), one.lesson.starts_at),
                    )
                ),
                tuple(one for one in pairs if len(one.against) == 1)[:NAMED],
            )
        )
    return waits


def _world(lessons: Sequence[Lesson], now: datetime) -> _World:
    school = the_school()
    first = min((one.starts_at for one in lessons), default=now)
    last = max((one.ends_at for one in lessons), default=now + timedelta(hours=1))
    return _World(
        zone=ZoneInfo(school.zone),
        of_age=school.of_age_years,
        house=house_of(school),
        horses=list(Horse.objects.prefetch_related("days_off").order_by("name")),
        held=held_between(first, last),
        now=now,
    )


def _pair(wish: WaitingWish, lesson: Lesson, world: _World) -> Pairing:
    reasons = [
        *_wished(wish, lesson, world),
        *_levels(wish, lesson),
        *_may_ride(wish, lesson, world),
        *_horses(wish, lesson, world),
        *_company(wish, lesson, world),
    ]
    offered, before = _offers(wish, lesson, world)
    return Pairing(wish, lesson, tuple(reasons), offered, before)


def _offers(wish: WaitingWish, lesson: Lesson, world: _World) -> tuple[str, str]:
    """Say until when a place is offered, or how the last offer of it ended."""
    its = [one for one in wish.offers.all() if one.lesson_id == lesson.pk]
    if not its:
        return "", ""
    last = max(its, key=lambda one: (one.made_at, one.pk))
    ends = clock(last.ends_at, world.zone)
    if last.state == OfferState.OPEN and last.ends_at > world.now:
        return ends, ""
    return "", _ended(last, ends, world.zone)


def _ended(offer: WaitingOffer, ends: str, zone: ZoneInfo) -> str:
    if offer.state == OfferState.DECLINED:
        return f"declined it {clock(offer.state_at, zone)}"
    if offer.state == OfferState.GONE:
        return f"was told {clock(offer.state_at, zone)} that it is gone"
    return f"was offered it and gave no answer by {ends}"


def _wished(wish: WaitingWish, lesson: Lesson, world: _World) -> list[Reason]:
    local = lesson.starts_at.astimezone(world.zone)
    asked = wish.get_work_display().lower()
    reasons = []
    if lesson.work != wish.work:
        reasons.append(Reason(f"wishes for {asked}", firm=True))
    if wish.weekday not in {None, local.weekday()}:
        reasons.append(Reason(f"wishes for {wish.day_words}", firm=True))
    if not wish.from_at <= local.time() <= wish.to_at:
        reasons.append(
            Reason(
                f"wishes for {wish.from_at:%H:%M} to {wish.to_at:%H:%M}, this begins "
                f"at {local:%H:%M}",
                firm=True,
            )
        )
    if lesson.pk == wish.instead_of_id:
        reasons.append(Reason("wishes to leave this very lesson", firm=True))
    if not reasons:
        reasons.append(Reason(f"{asked}, day and hour as wished for", good=True))
    return reasons


def _levels(wish: WaitingWish, lesson: Lesson) -> list[Reason]:
    rider = wish.rider
    level, name = ORDER.index(rider.level), rider.get_level_display().lower()
    reasons = []
    if level > ORDER.index(lesson.instructor.level):
        reasons.append(
            Reason(
                f"is {name}; {lesson.instructor.person.first_name} teaches up to "
                f"{lesson.instructor.get_level_display().lower()}",
                firm=True,
            )
        )
    if lesson.level and level < ORDER.index(lesson.level):
        reasons.append(
            Reason(
                f"is {name}; the lesson asks for {lesson.get_level_display().lower()}",
                firm=True,
            )
        )
    if not reasons:
        reasons.append(Reason(f"level {name}", good=True))
    if rider.level_signed_date is None:
        reasons.append(Reason("level not signed by an instructor"))
    return reasons


def _may_ride(wish: WaitingWish, lesson: Lesson, world: _World) -> list[Reason]:
    rider = wish.rider
    day = lesson.starts_at.astimezone(world.zone).date()
    reasons = []
    if getattr(rider, "open_stops", None):
        reasons.append(Reason("is not to ride until a manager lifts it", firm=True))
    if is_minor(rider.born_date, day, world.of_age) and not any(
        one.holds_on(day) for one in getattr(rider, "riding_consents", [])
    ):
        reasons.append(Reason("has no guardian's consent for that day", firm=True))
    taken = world.taken("person", lesson)
    if rider.pk in taken:
        here = taken[rider.pk] == lesson.pk
        says = "rides in it already" if here else "rides or teaches elsewhere then"
        reasons.append(Reason(says, firm=True))
    return reasons


def _horses(wish: WaitingWish, lesson: Lesson, world: _World) -> list[Reason]:
    rider = wish.rider
    day = lesson.starts_at.astimezone(world.zone).date()
    taken = world.taken("horse", lesson)
    free = [
        one
        for one in world.horses
        if one.pk not in taken
        and one.bookable_from_date <= day
        and day.weekday() not in {off.weekday for off in one.days_off.all()}
    ]
    never = {one.horse_id for one in rider.likings.all() if one.liking == Liking.NEVER}
    able = [
        one
        for one in free
        if one.pk not in never and carries(rider, one, lesson.horse_work, world.house)
    ]
    if not able:
        why = (
            f"none of {len(free)} free horses carries them"
            if free
            else ("no horse is free then")
        )
        return [Reason(f"{rider.weight_kg} kg: {why}", firm=True)]
    names = ", ".join(one.name for one in able[:NAMED])
    more = f" and {len(able) - NAMED} more" if len(able) > NAMED else ""
    free_then = "is" if len(able) == 1 else "are"
    says = f"{rider.weight_kg} kg: {names}{more} {free_then} free and strong enough"
    return [Reason(says, good=True)]


def _company(wish: WaitingWish, lesson: Lesson, world: _World) -> list[Reason]:
    """Look at the ages of those who ride in it: a child among adults, or the reverse.

    No published rule; common practice, no source.
    """
    day = lesson.starts_at.astimezone(world.zone).date()
    others = [
        years_between(one.rider.born_date, day)
        for one in lesson.rides.all()
        if one.state == RideState.BOOKED and one.rider_id != wish.rider_id
    ]
    if not others:
        return []
    age = years_between(wish.rider.born_date, day)
    low, high = min(others), max(others)
    others_are = f"{low}" if low == high else f"{low} to {high}"
    alone = (age < world.of_age) != (low < world.of_age) and (
        (low < world.of_age) == (high < world.of_age)
    )
    return [
        Reason(
            f"{age} years old; those who ride in it are {others_are}", good=not alone
        )
    ]
