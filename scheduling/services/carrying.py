"""How a yard carries: what one person carries, who helps, where the store lies."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from school.models import Account, Arena, Groundsperson, School
from school.services.audit import record
from school.services.units import UnableToSet

LEAST_KG, MOST_KG = 5, 40
MOST_HELPERS = 3
FARTHEST_CM = 20_000


@dataclass(frozen=True, slots=True)
class StorePlace:
    """Where wings and poles are kept, as an arena's lines are measured [cm].

    `along` from the end the tapes begin at, below 0 behind it; `across` from the long
    side the lines are measured from, below 0 outside it.
    """

    along_cm: int
    across_cm: int


def set_carrying(
    *,
    carries_kg: int,
    helpers: int,
    places: Mapping[int, StorePlace | None],
    alone: Mapping[int, Collection[int]] | None = None,
    by: Account | None,
    now: datetime,
) -> School:
    """Set how the yard carries; twice is harmless. `places` is by arena, None: usual.

    `alone` says by groundsperson on which weekdays (Monday is 0) nobody helps.

    Raises
    ------
    UnableToSet
        For a figure out of its range.
    """
    if not LEAST_KG <= carries_kg <= MOST_KG:
        raise UnableToSet(
            "carries", f"Give from {LEAST_KG} to {MOST_KG} kg.", "carries_kg"
        )
    if not 1 <= helpers <= MOST_HELPERS:
        raise UnableToSet("helpers", f"Give from 1 to {MOST_HELPERS}.", "helpers")
    for pk, place in places.items():
        far = 0 if place is None else max(abs(place.along_cm), abs(place.across_cm))
        if far > FARTHEST_CM:
            raise UnableToSet(
                "place", f"Give at most {FARTHEST_CM // 100} m.", f"along_{pk}"
            )
    with transaction.atomic():
        school = School.objects.select_for_update().get()
        arenas = list(Arena.objects.select_for_update().order_by("pk"))
        people = list(Groundsperson.objects.select_for_update().order_by("pk"))
        before = _as_data(school, arenas, people)
        school.carries_kg, school.helpers = carries_kg, helpers
        for arena in arenas:
            if arena.pk in places:
                place = places[arena.pk]
                arena.store_along_cm = None if place is None else place.along_cm
                arena.store_across_cm = None if place is None else place.across_cm
        for one in people:
            days = (alone or {}).get(one.pk)
            if days is not None:
                one.alone_days = sum(1 << day for day in set(days))
        after = _as_data(school, arenas, people)
        if before == after:
            return school
        school.save(update_fields=["carries_kg", "helpers"])
        Groundsperson.objects.bulk_update(people, ["alone_days"])
        Arena.objects.bulk_update(arenas, ["store_along_cm", "store_across_cm"])
        record(
            by=by,
            at=now,
            action="set carrying",
            subject=school,
            before=before,
            after=after,
        )
        return school


def _as_data(
    school: School, arenas: list[Arena], people: list[Groundsperson]
) -> dict[str, object]:
    return {
        "carries_kg": school.carries_kg,
        "helpers": school.helpers,
        "alone_days": {str(one.pk): one.alone_days for one in people},
        "store": {
            arena.name: [arena.store_along_cm, arena.store_across_cm]
            for arena in arenas
        },
    }
