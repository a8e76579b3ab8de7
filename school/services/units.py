"""The school's units: changed on the manager's word, for every page and drawing."""

from dataclasses import asdict
from datetime import datetime

from django.db import transaction

from exercises.geometry.units import Units
from school.convert import units_of
from school.models import Account, School
from school.services.audit import record

HOLES_FROM_CM = 1
HOLES_TO_CM = 15
HIGHEST_FIRST_HOLE_CM = 100


class UnableToSet(ValueError):
    """A setting that is refused: a code, plain words, and the field."""

    def __init__(self, code: str, says: str, field: str) -> None:
        super().__init__(says)
        self.code = code
        self.says = says
        self.field = field


def set_units(*, units: Units, by: Account, now: datetime) -> School:
    """Set what lengths, heights and horses are written in; twice is harmless.

    Raises
    ------
    UnableToSet
        For holes that no wing has.
    """
    if not 0 <= units.first_hole_cm <= HIGHEST_FIRST_HOLE_CM:
        raise UnableToSet(
            "first-hole",
            f"The lowest hole lies from 0 to {HIGHEST_FIRST_HOLE_CM} cm above the "
            "ground: measure one of your wings.",
            "first_hole_cm",
        )
    if not HOLES_FROM_CM <= units.hole_cm <= HOLES_TO_CM:
        raise UnableToSet(
            "hole",
            f"Holes lie from {HOLES_FROM_CM} to {HOLES_TO_CM} cm apart: measure one "
            "of your wings.",
            "hole_cm",
        )
    with transaction.atomic():
        school = School.objects.select_for_update().get()
        before = units_of(school)
        if before == units:
            return school
        school.length_unit = units.lengths.value
        school.height_unit = units.heights.value
        school.horse_unit = units.horses.value
        school.first_hole_cm = units.first_hole_cm
        school.hole_cm = units.hole_cm
        school.save()
        record(
            by=by,
            at=now,
            action="set units",
            subject=school,
            before=asdict(before),
            after=asdict(units),
        )
        return school
