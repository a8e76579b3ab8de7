"""What a lesson adds in a slot, asked slot by slot: as the call for all slots says."""

import pytest

from scheduling.dayplan.marginal import marginal_costs
from scheduling.dayplan.margins import Margins
from scheduling.dayplan.settled import Known
from tests.scheduling.days import cross, day, grid, lesson, vertical

ROW = grid(cross(0), vertical(600), approach_cm=700, runout_cm=700)
OTHER = grid(vertical(0), vertical(1050, 90), approach_cm=700, runout_cm=700)
LONG = grid(cross(0), vertical(9000), approach_cm=700, runout_cm=700)


def booked() -> dict:
    return day(
        lesson("a", "09:00", grid=ROW),
        lesson("b", "12:00", grid=ROW),
        place_every_cm=100,
        start_every_min=60,
    )


def new(row: dict) -> dict:
    return lesson("new", "09:00", grid=row) | {
        "booked": None,
        "not_before": "08:00",
        "not_after": "19:00",
    }


@pytest.mark.parametrize("row", [ROW, OTHER])
def test_each_slot_adds_what_the_call_for_all_slots_says(row: dict) -> None:
    document, one = booked(), new(row)
    offers = marginal_costs(document, one)
    margins = Margins(document, one)

    free = [slot for slot in offers.slots if slot.added_s is not None]

    assert margins.reckoned
    assert free
    for slot in free:
        known, added_s = margins.added(slot.start_min, slot.arena)
        least = margins.at_least(slot.start_min, slot.arena)
        assert (known, added_s) == (Known.EXACT, slot.added_s)
        assert least is not None
        assert least <= added_s


def test_a_row_longer_than_every_line_can_be_nowhere() -> None:
    margins = Margins(booked(), new(LONG))

    assert margins.at_least(600, booked()["arenas"][0]["id"]) is None


def test_of_a_day_that_is_not_possible_as_booked_nothing_is_reckoned() -> None:
    document = day(lesson("a", "09:00"), lesson("b", "09:00"))
    margins = Margins(document, new(ROW))

    assert not margins.reckoned
    assert margins.at_least(600, document["arenas"][0]["id"]) is None
    assert margins.added(600, document["arenas"][0]["id"]) == (Known.ASK, 0)
