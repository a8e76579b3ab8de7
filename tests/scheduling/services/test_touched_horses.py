"""A horse is out: its riders are given others, or their places are given back."""

from datetime import timedelta

import pytest

from school.models import (
    HorseState,
    Lesson,
    Ride,
)
from school.services.out import Out
from school.services.refusals import UnableToBook
from school.services.welfare import told_of_lesson
from tests.clock import SATURDAY, at
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.matching import RiderHorseFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.rows import grid_of
from tests.scheduling.services.touched import TOLD, looked, pressed, says

pytestmark = pytest.mark.django_db


def lame(horse, first="00:00", last="23:59", day=SATURDAY) -> Out:
    return Out("horse", horse.pk, at(first), at(last, day), "lame", "vet")


def test_a_lame_horses_riders_are_given_others_that_are_fit_and_heavy_enough() -> None:
    SchoolFactory()
    ride = RideFactory(rider__weight_kg=70, horse__name="Onyx", horse__weight_kg=600)
    HorseFactory(name="Pepper", weight_kg=300)
    strong = HorseFactory(name="Juniper", weight_kg=650)
    what = lame(ride.horse)
    seen = looked(what)

    assert says(seen) == [f"{ride.rider.person.first_name} on Juniper"]
    done = pressed(what, seen)

    ride.refresh_from_db()
    assert ride.horse == strong
    state = HorseState.objects.get()
    assert (state.kind, state.reason, state.state_from) == ("vet", "lame", what.first)
    assert (done.changed, done.cancelled) == (1, 0)


def test_four_rides_on_two_days_are_settled_at_once() -> None:
    SchoolFactory()
    onyx = HorseFactory(name="Onyx")
    HorseFactory(name="Juniper")
    sunday = SATURDAY + timedelta(days=1)
    for day in (SATURDAY, sunday):
        for clock in ("10:00", "14:00"):
            RideFactory(horse=onyx, lesson__starts_at=at(clock, day))
    what = lame(onyx, day=sunday)

    done = pressed(what, looked(what))

    assert done.changed == 4
    assert set(Ride.objects.values_list("horse__name", flat=True)) == {"Juniper"}


def test_without_another_horse_the_rider_is_left_without_one_for_now() -> None:
    SchoolFactory()
    ride = RideFactory(horse__name="Onyx")
    tired = HorseFactory(name="Juniper")
    HorseState.objects.create(
        horse=tired, kind="rest", state_from=at("00:00"), reason="back is sore"
    )
    what = lame(ride.horse)
    seen = looked(what)

    assert seen.proposal.items[0].waits
    assert seen.proposal.items[0].why == (
        "Juniper: not to be ridden (rest: back is sore)",
    )
    pressed(what, seen)

    ride.refresh_from_db()
    assert (ride.horse, ride.state) == (None, "booked")


def test_a_place_given_back_by_choice_leaves_the_others_in_the_lesson() -> None:
    SchoolFactory()
    ride = RideFactory(horse__name="Onyx")
    other = RideFactory(lesson=ride.lesson)
    chosen, what = {f"ride-{ride.pk}": "cancel"}, lame(ride.horse)

    done = pressed(what, looked(what, chosen), chosen=chosen)

    ride.refresh_from_db()
    assert (ride.state, ride.cancelled_reason) == ("cancelled", TOLD)
    assert Lesson.objects.get().state == "booked"
    assert Ride.objects.get(pk=other.pk).state == "booked"
    assert (done.changed, done.cancelled) == (0, 1)


def test_a_lesson_nobody_is_left_in_falls_out_as_a_whole() -> None:
    SchoolFactory()
    ride = RideFactory(horse__name="Onyx")
    chosen, what = {f"ride-{ride.pk}": "cancel"}, lame(ride.horse)

    pressed(what, looked(what, chosen), chosen=chosen)

    assert Lesson.objects.get().state == "cancelled"


def test_a_horse_by_choice_is_given_and_one_not_to_be_had_refused() -> None:
    SchoolFactory()
    ride = RideFactory(horse__name="Onyx")
    juniper, rowan = HorseFactory(name="Juniper"), HorseFactory(name="Rowan")
    what = lame(ride.horse)
    for horse in (juniper, rowan):
        chosen = {f"ride-{ride.pk}": str(horse.pk)}
        assert looked(what, chosen).proposal.items[0].horse == horse
    RiderHorseFactory(rider=ride.rider, horse=rowan)

    with pytest.raises(UnableToBook, match="never again"):
        looked(what, chosen)
    with pytest.raises(UnableToBook, match="not known"):
        looked(what, {f"ride-{ride.pk}": str(ride.horse_id)})
    with pytest.raises(UnableToBook, match="Choose again"):
        looked(what, {f"ride-{ride.pk}": "²"})


def test_a_horse_that_was_resting_already_stays_so_and_is_out_for_the_rest() -> None:
    SchoolFactory()
    horse = HorseFactory()
    HorseState.objects.create(
        horse=horse, kind="rest", state_from=at("00:00"), state_to=at("12:00"),
        reason="day of rest",
    )  # fmt: skip
    what = lame(horse)

    for _ in range(2):
        pressed(what, looked(what))

    kinds = HorseState.objects.order_by("state_from")
    assert [(x.kind, x.state_from, x.state_to) for x in kinds] == [
        ("rest", at("00:00"), at("12:00")),
        ("vet", at("12:00"), at("23:59")),
    ]


def test_a_horse_lame_for_weeks_gives_its_work_by_the_weeks_rules_too() -> None:
    """Sixteen jumping rides; of a horse, at most three jumping days in seven."""
    SchoolFactory()
    onyx = HorseFactory(name="Onyx")
    for name in ("Juniper", "Pepper", "Sorrel", "Tansy", "Umber"):
        HorseFactory(name=name)
    last = SATURDAY + timedelta(days=8)
    for n in range(8):
        for clock in ("09:00", "11:00"):
            start = at(clock, SATURDAY + timedelta(days=n))
            RideFactory(horse=onyx, lesson__starts_at=start)
    what = lame(onyx, day=last)
    seen = looked(what)

    assert seen.broken == ""
    done = pressed(what, seen)

    assert (done.changed, done.cancelled) == (16, 0)
    assert not any(one.waits for one in seen.proposal.items)
    assert told_to_refuse() == []


def told_to_refuse() -> list[str]:
    """Return what any lesson refuses as it is booked now."""
    return [
        one.says
        for lesson in Lesson.objects.all()
        for one in told_of_lesson(lesson)
        if one.hit.refuses
    ]


def test_the_work_of_a_horse_that_another_rider_keeps_counts() -> None:
    """Juniper goes in the first lesson with another rider, and may do one a day."""
    SchoolFactory()
    onyx = HorseFactory(name="Onyx")
    juniper = HorseFactory(name="Juniper", max_lessons=1)
    first = RideFactory(horse=onyx)
    RideFactory(lesson=first.lesson, horse=juniper)
    RideFactory(horse=onyx, lesson__starts_at=at("14:00"))

    items = looked(lame(onyx)).proposal.items

    assert [one.waits for one in items] == [True, True]
    assert items[1].why == (
        "Juniper: would have 2 lessons on Saturday; at most 1 (the horse's own limit)",
    )


def test_a_grid_fitted_to_the_lame_horse_is_to_be_looked_at() -> None:
    SchoolFactory()
    ride = RideFactory(lesson__title="Grid", horse__name="Onyx")
    HorseFactory(name="Juniper")
    grid = grid_of(ride.lesson)
    grid.fitted = {"gaps": [{"horses": [{"horse": "Onyx"}]}]}
    grid.save()

    seen = looked(lame(ride.horse))

    assert seen.notes == (
        "Grid, Sat 6 Mar 09:00: The grid was fitted to Onyx; with Juniper look at its "
        "distances again.",
    )
