"""What a lesson adds in a slot, asked slot by slot: as the call for all slots says."""

import pytest

from scheduling.dayplan.chains import Shared
from scheduling.dayplan.marginal import marginal_costs
from scheduling.dayplan.margins import Margins, alike
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


def said(margins: Margins, document: dict) -> list[tuple]:
    """All that margins say of the whole hours of a day."""
    where = document["arenas"][0]["id"]
    return [
        (margins.added(at, where), margins.at_least(at, where))
        for at in range(480, 1140, 60)
    ]


def other_days() -> list[dict]:
    """Days whose rows, lines and raster differ from those of `booked` somewhere."""
    stands = booked()
    line = stands["arenas"][0]["lines"][0]
    stands["arenas"][0]["lines"][0] = line | {"standing": [vertical(900)]}
    return [
        day(
            lesson("c", "09:00", grid=OTHER),
            lesson("d", "12:00", grid=ROW),
            place_every_cm=100,
            start_every_min=60,
        ),
        stands,
        booked() | {"place_every_cm": 50},
        booked() | {"handling": {"start_s": 300}},
    ]


@pytest.mark.parametrize("n", range(4))
def test_what_was_found_on_another_day_changes_nothing_on_this_one(n: int) -> None:
    document, shared = other_days()[n], Shared()
    Margins(booked(), new(OTHER), shared)

    beside = Margins(document, new(OTHER), shared)

    assert said(beside, document) == said(Margins(document, new(OTHER)), document)


def test_days_are_alike_whatever_their_date_and_the_names_of_lessons() -> None:
    one = booked()
    other = {**one, "date": "2027-03-13"}
    other["lessons"] = [{**x, "id": x["id"] + "-later"} for x in one["lessons"]]

    assert alike(one, new(ROW)) == alike(other, new(ROW))
    assert alike(one, new(ROW)) != alike(one, new(OTHER))
    assert alike(one, new(ROW)) != alike({**one, "crew": 2}, new(ROW))
