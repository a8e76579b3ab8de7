"""The numbers a school runs by: set on the manager's word, for every page."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import NotRequired, TypedDict

from django.db import transaction

from school.enums import HOLDING_STATES, ExpiredPapers, RideState
from school.models import Account, Horse, School
from school.queries.holidays import countries
from school.queries.lessons import day_bounds
from school.queries.schools import school_zone
from school.services.house import set_values
from school.services.refusals import clock
from school.services.units import UnableToSet
from school.welfare.rules import RULE, Bounds, Rule
from school.welfare.words import number


class Rules(TypedDict):
    """What may be set, each by its name in the school's record."""

    notice_hours: int
    arrive_before_min: int
    min_horse_age_years: int
    freeze_min: int
    of_age_years: NotRequired[int]
    expired_papers: NotRequired[str]
    leaders: NotRequired[int]
    lead_rein_from_years: NotRequired[int]
    alone_from_years: NotRequired[int]
    lead_rein_fence_cm: NotRequired[int]
    moved_start_s: int
    moved_arena_s: int
    country: str
    region: str
    latitude: NotRequired[float | None]
    longitude: NotRequired[float | None]


RANGES = {
    "notice_hours": (0, 168),
    "arrive_before_min": (0, 120),
    "min_horse_age_years": (3, 8),
    "freeze_min": (0, 1440),
    "of_age_years": (14, 21),
    "leaders": (1, 12),
    "lead_rein_from_years": (2, 18),
    "alone_from_years": (0, 18),
    "lead_rein_fence_cm": (0, 60),
    "moved_start_s": (0, 3600),
    "moved_arena_s": (0, 3600),
}
"""From how much to how much each may be set."""


def set_rules(*, rules: Rules, by: Account | None, now: datetime) -> School:
    """Set the numbers a school runs by; twice is harmless.

    Raises
    ------
    UnableToSet
        For a number out of its range, or a country or region that is unknown.
    """
    _check(rules)
    with transaction.atomic():
        school = School.objects.select_for_update().get()
        if rules["min_horse_age_years"] != school.min_horse_age_years:
            _date_horses(rules["min_horse_age_years"], now)
        return set_values(values=rules, action="set rules", by=by, now=now)


def _check_place(latitude: float | None, longitude: float | None) -> None:
    if (latitude is None) != (longitude is None):
        raise UnableToSet(
            "latitude", "Give both, latitude and longitude, or neither.", "latitude"
        )
    for name, value, most in (
        ("latitude", latitude, 90),
        ("longitude", longitude, 180),
    ):
        if value is not None and not -most <= value <= most:
            raise UnableToSet(name, f"Give degrees from -{most} to {most}.", name)


def birthday(born: date, years: int) -> date:
    """Return when somebody is so old; who was born on a leap day, on 1 March."""
    try:
        return born.replace(year=born.year + years)
    except ValueError:
        return date(born.year + years, 3, 1)


def _date_horses(years: int, now: datetime) -> None:
    """Date anew from when each horse may be booked; refuse where one is already."""
    zone = school_zone()
    for horse in Horse.objects.order_by("name"):
        horse.bookable_from_date = birthday(horse.born_date, years)
        first, _ = day_bounds(horse.bookable_from_date, zone)
        booked = (
            horse.rides.filter(
                state=RideState.BOOKED,
                lesson__state__in=HOLDING_STATES,
                lesson__starts_at__gt=now,
                lesson__starts_at__lt=first,
            )
            .select_related("lesson")
            .order_by("lesson__starts_at")
            .first()
        )
        if booked is not None:
            raise UnableToSet(
                "min_horse_age_years",
                f"{horse} is booked for {booked.lesson.title} on "
                f"{clock(booked.lesson.starts_at, zone)}, before it is {years}. Give "
                "another horse there first.",
                "min_horse_age_years",
            )
        horse.save(update_fields=["bookable_from_date"])


def set_welfare(
    *,
    bounds: Mapping[str, Bounds],
    tacked_up_min: int,
    gear_kg: int,
    by: Account | None,
    now: datetime,
) -> School:
    """Set from where the rules of horses' work warn and refuse; twice is harmless.

    What is as usual is not kept, so that it goes with the usual figures.

    Raises
    ------
    UnableToSet
        For a figure out of its range, or a refusal on the milder side of its warning.
    """
    for name, one in bounds.items():
        _check_bounds(RULE[name], one)
    kept = {
        name: {"warn": one.warn, "refuse": one.refuse}
        for name, one in bounds.items()
        if one != RULE[name].usual
    }
    values = {"welfare": kept, "tacked_up_min": tacked_up_min, "gear_kg": gear_kg}
    for name, high in (("tacked_up_min", 60), ("gear_kg", 40)):
        if not 0 <= int(str(values[name])) <= high:
            raise UnableToSet(name, f"Give a number from 0 to {high}.", name)
    return set_values(values=values, action="set welfare rules", by=by, now=now)


def _check_bounds(rule: Rule, bounds: Bounds) -> None:
    for side, value in (("warn", bounds.warn), ("refuse", bounds.refuse)):
        if value is not None and not rule.low <= value <= rule.high:
            raise UnableToSet(
                rule.name,
                f"Give a figure from {number(rule.low)} to {number(rule.high)}, or "
                "leave it empty.",
                f"{rule.name}-{side}",
            )
    warn, refuse = bounds.warn, bounds.refuse
    if warn is not None and refuse is not None and rule.broken(warn, refuse):
        raise UnableToSet(
            rule.name,
            "It must warn before it refuses.",
            f"{rule.name}-warn",
        )


def _check(rules: Rules) -> None:
    _check_place(rules.get("latitude"), rules.get("longitude"))
    for name, (low, high) in RANGES.items():
        if name in rules and not low <= int(str(rules[name])) <= high:  # type: ignore[literal-required]
            raise UnableToSet(name, f"Give a number from {low} to {high}.", name)
    if rules.get("expired_papers", ExpiredPapers.WARN) not in ExpiredPapers.values:
        raise UnableToSet("expired_papers", "Choose one of them.", "expired_papers")
    country, region = rules["country"], rules["region"]
    if not country and not region:
        return
    known = countries()
    if country not in known:
        raise UnableToSet(
            "country", "Give the two letters of a country, NL or DE say.", "country"
        )
    if region and region not in known[country]:
        say = ", ".join(known[country]) or "none: leave it empty"
        raise UnableToSet(
            "region", f"{country} has no region {region}; it has {say}.", "region"
        )
