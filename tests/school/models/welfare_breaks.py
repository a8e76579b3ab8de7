"""Writes that break the rules of horses' work and of the registers."""

from collections.abc import Callable
from typing import Any

from tests.factories.arenas import ArenaFactory
from tests.factories.schools import SchoolFactory
from tests.factories.welfare import (
    DayHeatFactory,
    IncidentFactory,
    WelfareOverrideFactory,
)


def override_twice() -> None:
    one = WelfareOverrideFactory()
    WelfareOverrideFactory(lesson=one.lesson, horse=one.horse)


def changed_incident() -> None:
    one = IncidentFactory()
    one.what = "Nothing happened"
    one.save()


WELFARE_BREAKS: dict[str, Callable[[], Any]] = {
    "welfare_override_once": override_twice,
    "welfare_override_rule_known": lambda: WelfareOverrideFactory(rule="mood"),
    "welfare_override_with_a_reason": lambda: WelfareOverrideFactory(reason=""),
    "incident_says_who": lambda: IncidentFactory(who=""),
    "incident_says_where": lambda: IncidentFactory(where=""),
    "incident_says_what": lambda: IncidentFactory(what=""),
    "incident_never_changed": changed_incident,
    "heat_temperature_in_range": lambda: DayHeatFactory(temperature_c=56),
    "heat_humidity_in_range": lambda: DayHeatFactory(humidity_pct=101),
    "school_tacked_up_in_range": lambda: SchoolFactory(tacked_up_min=61),
    "school_carries_in_range": lambda: SchoolFactory(carries_kg=4),
    "school_helpers_in_range": lambda: SchoolFactory(helpers=4),
    "arena_store_along_in_range": lambda: ArenaFactory(
        store_along_cm=50_000, store_across_cm=0
    ),
    "arena_store_across_in_range": lambda: ArenaFactory(
        store_along_cm=0, store_across_cm=-30_000
    ),
    "arena_store_place_whole": lambda: ArenaFactory(store_along_cm=100),
    "school_gear_in_range": lambda: SchoolFactory(gear_kg=41),
}
