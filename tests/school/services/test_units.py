"""A school's units are set by its manager, once for everything."""

import pytest

from exercises.geometry.units import HeightUnit, HorseUnit, LengthUnit, Units
from school.convert import units_of
from school.models import AuditEntry, School
from school.services.units import UnableToSet, set_units
from tests.clock import NOW
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

OURS = Units(LengthUnit.FEET, HeightUnit.HOLES, HorseUnit.HANDS, 30, 10)


def put(units: Units) -> School:
    return set_units(units=units, by=AccountFactory(), now=NOW)


def test_units_are_set_and_the_change_is_kept() -> None:
    SchoolFactory()

    put(OURS)

    entry = AuditEntry.objects.get()
    assert units_of(School.objects.get()) == OURS
    assert (entry.before["lengths"], entry.after["lengths"]) == ("metres", "feet")


def test_setting_them_twice_is_harmless() -> None:
    SchoolFactory()

    for _ in range(2):
        put(OURS)

    assert AuditEntry.objects.count() == 1


@pytest.mark.parametrize(
    ("units", "field"),
    [
        (Units(first_hole_cm=-1), "first_hole_cm"),
        (Units(first_hole_cm=101), "first_hole_cm"),
        (Units(hole_cm=0), "hole_cm"),
        (Units(hole_cm=16), "hole_cm"),
    ],
)
def test_holes_that_no_wing_has_are_refused(units: Units, field: str) -> None:
    SchoolFactory()

    with pytest.raises(UnableToSet, match="measure one of your wings") as caught:
        put(units)

    assert caught.value.field == field
    assert units_of(School.objects.get()) == Units()
