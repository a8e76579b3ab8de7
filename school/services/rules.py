"""The numbers a school runs by: set on the manager's word, for every page."""

from datetime import datetime
from typing import TypedDict

from django.db import transaction

from school.models import Account, School
from school.queries.holidays import countries
from school.services.audit import record
from school.services.units import UnableToSet


class Rules(TypedDict):
    """What may be set, each by its name in the school's record."""

    notice_hours: int
    arrive_before_min: int
    min_horse_age_years: int
    freeze_min: int
    moved_start_s: int
    moved_arena_s: int
    country: str
    region: str


RANGES = {
    "notice_hours": (0, 168),
    "arrive_before_min": (0, 120),
    "min_horse_age_years": (3, 8),
    "freeze_min": (0, 1440),
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
        before = {name: getattr(school, name) for name in rules}
        if before == rules:
            return school
        for name, value in rules.items():
            setattr(school, name, value)
        school.save()
        record(
            by=by,
            at=now,
            action="set rules",
            subject=school,
            before=before,
            after=dict(rules),
        )
        return school


def _check(rules: Rules) -> None:
    for name, (low, high) in RANGES.items():
        if not low <= int(str(rules[name])) <= high:  # type: ignore[literal-required]
            raise UnableToSet(name, f"Give a number from {low} to {high}.", name)
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
