"""What a place that was not ridden costs, set on the manager's word."""

from datetime import datetime
from typing import TypedDict

from school.enums import Charge
from school.models import Account, School
from school.services.house import set_values
from school.services.units import UnableToSet


class Charges(TypedDict):
    """What may be set, each by its name in the school's record."""

    late_cancel_charge: str
    no_show_charge: str
    late_lost_min: int
    lost_charge: str
    ended_counts_percent: int
    ended_rider_charge: str
    ended_horse_charge: str
    make_up_days: int


RANGES = {
    "late_lost_min": (1, 60),
    "ended_counts_percent": (1, 100),
    "make_up_days": (0, 366),
}
"""From how much to how much each number may be set."""


def set_charges(*, charges: Charges, by: Account | None, now: datetime) -> School:
    """Set what missed places cost from now on; what was noted stays as it was.

    Twice is harmless.

    Raises
    ------
    UnableToSet
        For a number out of its range, or a charge that is none.
    """
    values = dict(charges)
    for name, value in values.items():
        low, high = RANGES.get(name, (0, 0))
        if name in RANGES and not low <= int(str(value)) <= high:
            raise UnableToSet(name, f"Give a number from {low} to {high}.", name)
        if name not in RANGES and value not in Charge.values:
            raise UnableToSet(name, "Choose one of the charges.", name)
    return set_values(values=values, action="set charges", by=by, now=now)
