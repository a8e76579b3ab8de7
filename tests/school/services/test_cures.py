"""Cures of a grid that does not fit: offered with their price, taken by one call."""

import pytest

from exercises.geometry.spec import spec_as_data
from exercises.models import Exercise
from exercises.services import load_library
from school.convert import spec_of_grid
from school.models import AuditEntry, LessonGrid, Ride
from school.queries.grids import overruled_of
from school.services.cures import (
    cures_of,
    take_distance,
    take_lower,
    take_part,
    take_square,
    take_swap,
)
from school.services.grid_changes import (
    change_grid,
    grid_of,
    refit_grid,
    undo_grid_change,
)
from school.services.grids import UnableToAttach, attach_grid
from school.services.refusals import UnableToBook
from tests.clock import NOW
from tests.exercises.geometry.specs import oxer, pole, spec, vertical, x
from tests.factories.arenas import LineFactory, StorePieceFactory
from tests.factories.exercises import ExerciseFactory, ExerciseRevisionFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

DOUBLE = spec(pole(), x("placing-trot"), vertical("one-stride"))
WHY = {"distances for Thimble": "rides it in hand", "distances for Onyx": "collects"}


def grid(exercise=DOUBLE, *, heights=(("Thimble", 125), ("Onyx", 168)), **changes):
    """A mixed ride with a grid that was attached against its verdict."""
    SchoolFactory(tradition="schooling")
    StorePieceFactory(working=40)
    first, *others = heights
    ride = RideFactory(horse__name=first[0], horse__height_cm=first[1], **changes)
    LineFactory(arena=ride.lesson.arena)
    for name, height in others:
        RideFactory(lesson=ride.lesson, horse__name=name, horse__height_cm=height)
    revision = ExerciseRevisionFactory(
        exercise=ExerciseFactory(slug=exercise.slug), spec=spec_as_data(exercise)
    )
    return attach_grid(
        lesson=ride.lesson, revision=revision, by=AccountFactory(), now=NOW,
        overrides=WHY,
    )  # fmt: skip


def off(one: LessonGrid) -> dict[str, list[bool]]:
    inside: dict[str, list[bool]] = {}
    for gap in one.fitted["gaps"]:
        for its in gap["horses"]:
            inside.setdefault(its["horse"], []).append(its["inside"])
    return inside


def test_the_three_cures_are_offered_with_their_price() -> None:
    one = grid()
    HorseFactory(name="Bracken", height_cm=160)
    HorseFactory(name="Mouse", height_cm=120)
    HorseFactory(name="Small fences", height_cm=165, highest_fence_cm=20)
    HorseFactory(name="Light", height_cm=165, weight_kg=100)

    cures = cures_of(one.lesson, one)

    pony = next(c for c in cures.horses if c.ride.horse.name == "Thimble")
    assert {c.before for c in pony.changes} == {1, 2}
    assert [its.horse.name for c in pony.changes for its in c.outside] == ["Onyx"] * 2
    assert [offer.horse.name for offer in pony.swaps] == ["Bracken"]
    assert [h.name for h in cures.split.short.horses] == ["Thimble"]
    assert cures.split.worst < 1
    assert cures.lower_to_cm is None
    assert not cures.square


def test_a_grid_that_fits_needs_no_cure() -> None:
    one = grid(heights=[("Onyx", 168)])

    cures = cures_of(one.lesson, one)

    assert (cures.horses, cures.split) == ((), None)


def test_a_distance_taken_brings_the_horse_in_and_is_undone() -> None:
    one = grid()
    by = AccountFactory()

    changed = take_distance(
        lesson=one.lesson, horse="Thimble", by=by, now=NOW,
        overrides={"distances for Onyx": "collects well"},
    )  # fmt: skip

    assert off(changed) == {"Thimble": [True, True], "Onyx": [False, False]}
    assert changed.revision == one.revision
    assert changed.fitted["gaps"][1]["proposed_cm"] == one.fitted["gaps"][1]["built_cm"]
    assert [c["says"] for c in changed.changes] == ["Distances for Thimble"]
    assert [o.subject for o in overruled_of(changed)] == ["distances for Onyx"]
    assert AuditEntry.objects.filter(action="change grid", by=by).count() == 1

    again = take_distance(lesson=one.lesson, horse="Thimble", by=by, now=NOW)
    assert len(again.changes) == 1

    back = undo_grid_change(lesson=one.lesson, by=by, now=NOW)
    undo_grid_change(lesson=one.lesson, by=by, now=NOW)
    assert (back.start, back.changes) == (one.start, [])
    assert AuditEntry.objects.filter(action="undo grid change").count() == 1


def test_a_cure_that_pushes_another_out_asks_for_a_reason() -> None:
    one = grid(heights=[("Thimble", 130), ("Onyx", 162)])
    before = LessonGrid.objects.get().changes

    with pytest.raises(UnableToAttach, match="For Onyx gap 1") as caught:
        take_distance(lesson=one.lesson, horse="Thimble", by=None, now=NOW)

    assert any(v.subject == "distances for Onyx" for v in caught.value.verdicts)
    assert LessonGrid.objects.get().changes == before


def test_what_was_overruled_stays_so_while_it_is_the_same() -> None:
    one = grid(
        spec(x(), vertical("one-stride", height_cm=60)),
        heights=[("Onyx", 168)],
    )
    rider = one.lesson.rides.get().rider
    rider.highest_fence_cm = 40
    rider.save()
    by, subject = AccountFactory(), f"height for {rider.person.first_name}"
    refit_grid(
        lesson=one.lesson, by=by, now=NOW, overrides={subject: "rode it last week"}
    )

    def higher(fitted):
        return spec(x(), vertical("one-stride", height_cm=70))

    refit_grid(lesson=one.lesson, by=None, now=NOW)
    with pytest.raises(UnableToAttach, match="70 cm"):
        change_grid(lesson=one.lesson, alter=higher, says="up", by=by, now=NOW)

    assert overruled_of(grid_of(one.lesson))[0].reason == "rode it last week"


def test_a_row_too_high_is_lowered_to_what_all_may_go_up_to() -> None:
    one = grid(heights=[("Onyx", 168)])
    rider = one.lesson.rides.get().rider
    rider.highest_fence_cm = 48
    rider.save()

    assert cures_of(one.lesson, one).lower_to_cm == 45
    changed = take_lower(lesson=one.lesson, by=None, now=NOW)

    assert [e.get("height_cm", 0) for e in changed.start] == [0, 40, 45]
    assert len(take_lower(lesson=one.lesson, by=None, now=NOW).changes) == 1


def test_a_row_that_cannot_be_turned_is_set_square() -> None:
    row = spec(x(), oxer("one-stride", ascending=True), approach="canter")
    one = grid(row, heights=[("Onyx", 168)])

    def both_ways(fitted):
        return fitted.spec.model_copy(update={"both_ways": True})

    with pytest.raises(UnableToAttach, match="from the other end"):
        change_grid(lesson=one.lesson, alter=both_ways, says="", by=None, now=NOW)
    changed = take_square(lesson=one.lesson, by=None, now=NOW)

    assert "ascending" not in changed.start[1]
    fitted = change_grid(
        lesson=one.lesson, alter=both_ways, says="Both ways", by=None, now=NOW
    ).fitted
    assert any(v["subject"] == "ridden in reverse" for v in fitted["verdicts"])
    assert not cures_of(one.lesson, changed).square


def test_a_square_is_offered_where_it_is_needed() -> None:
    row = spec(x(), oxer("one-stride", ascending=True), approach="canter")
    one = grid(row, heights=[("Onyx", 168)])
    both = spec_of_grid(one).model_copy(update={"both_ways": True})
    one.changes = [{"spec": spec_as_data(both)}]

    assert cures_of(one.lesson, one).square


def test_a_swap_gives_the_rider_another_horse_and_fits_the_row() -> None:
    grid()
    ride = Ride.objects.get(horse__name="Thimble")
    bracken = HorseFactory(name="Bracken", height_cm=155)

    changed = take_swap(ride=ride, horse=bracken, by=None, now=NOW)

    assert Ride.objects.get(pk=ride.pk).horse == bracken
    assert off(changed) == {"Bracken": [True, True], "Onyx": [True, True]}
    assert overruled_of(changed) == []


def test_a_swap_that_does_not_fit_changes_nothing() -> None:
    one = grid()
    ride = Ride.objects.get(horse__name="Thimble")

    with pytest.raises(UnableToAttach):
        take_swap(ride=ride, horse=HorseFactory(height_cm=110), by=None, now=NOW)
    with pytest.raises(UnableToBook):
        take_swap(ride=ride, horse=HorseFactory(weight_kg=100), by=None, now=NOW)

    assert Ride.objects.get(pk=ride.pk).horse.name == "Thimble"
    assert grid_of(one.lesson).start == one.start


def test_what_cannot_be_built_is_refused_in_words() -> None:
    one = grid(heights=[("Onyx", 168)])

    def far(fitted):
        elements = list(fitted.spec.elements)
        elements[1] = elements[1].model_copy(update={"by_cm": 500})
        return fitted.spec.model_copy(update={"elements": tuple(elements)})

    with pytest.raises(UnableToAttach, match="that can't be built"):
        change_grid(lesson=one.lesson, alter=far, says="far", by=None, now=NOW)


def test_a_lesson_without_a_grid_says_so() -> None:
    SchoolFactory()
    lesson = RideFactory(lesson__title="Jump").lesson

    with pytest.raises(UnableToAttach, match="Jump has no grid"):
        refit_grid(lesson=lesson, by=None, now=NOW)


@pytest.mark.parametrize("count", [1, 3])
def test_cures_take_the_same_queries_for_any_ride(
    count: int, django_assert_num_queries
) -> None:
    one = grid(heights=[("Onyx", 168)])
    for n in range(count):
        RideFactory(lesson=one.lesson, horse__name=f"Thimble {n}", horse__height_cm=125)
    for n in range(count):
        HorseFactory(name=f"Bracken {n}", height_cm=150)
    lesson = (
        type(one.lesson).objects.select_related("arena", "instructor__person").get()
    )

    with django_assert_num_queries(14):
        cures_of(lesson, one)


def test_the_library_row_of_a_lesson_is_not_touched() -> None:
    load_library(now=NOW)
    one = grid()
    take_distance(lesson=one.lesson, horse="Thimble", by=AccountFactory(), now=NOW,
                  overrides=WHY)  # fmt: skip

    assert one.revision.exercise.revisions.count() == 1
    assert Exercise.objects.filter(own=True).count() == 0


def test_a_ride_is_split_by_building_for_one_part_and_then_the_other() -> None:
    one, by = grid(), AccountFactory()

    for part, rides, waits in (
        ("short", "Thimble", "Onyx"),
        ("long", "Onyx", "Thimble"),
    ):
        take_part(lesson=one.lesson, part=part, by=by, now=NOW)

        one.refresh_from_db()
        assert all(off(one)[rides])
        assert not all(off(one)[waits])
        reason = one.overrides.filter(subject=f"distances for {waits}").latest("pk")
        assert reason.reason == (
            f"Ridden in two parts: now {rides}; {waits} after the change"
        )


def test_a_ride_that_needs_no_second_part_is_not_split() -> None:
    one = grid(heights=[("Onyx", 168)])

    with pytest.raises(UnableToAttach, match="can't be split"):
        take_part(lesson=one.lesson, part="short", by=AccountFactory(), now=NOW)
