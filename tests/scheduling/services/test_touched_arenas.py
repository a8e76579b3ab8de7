"""An arena out: where its lessons go, and what their grids want there."""

import pytest

from school.models import ArenaClosure, School
from school.services.out import Out
from tests.clock import at
from tests.factories.arenas import (
    ArenaFactory,
    KeepingPlaceFactory,
    LineFactory,
    StorePieceFactory,
)
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import InstructorFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.rows import grid_of
from tests.scheduling.services.touched import lesson_of, looked, out, pressed, says

pytestmark = pytest.mark.django_db


@pytest.fixture
def sick():
    """Ilka, whose lessons are touched."""
    SchoolFactory()
    return InstructorFactory(person__first_name="Ilka")


@pytest.fixture
def arno():
    return InstructorFactory(person__first_name="Arno")


def frozen(arena, first="00:00", last="23:59") -> Out:
    return Out("arena", arena.pk, at(first), at(last), "frozen")


def test_a_frozen_arenas_lessons_go_to_another_arena_or_time(sick) -> None:
    hall, ring = ArenaFactory(name="Hall"), ArenaFactory(name="Ring")
    first = lesson_of(sick, "13:00", lesson__arena=hall)
    second = lesson_of(sick, "14:00", lesson__arena=hall)
    LessonFactory(arena=ring, starts_at=at("14:00"))
    what = Out("arena", hall.pk, at("12:00"), at("18:00"), "frozen")
    seen = looked(what)

    assert says(seen) == ["Ilka, Ring, 13:00", "Ilka, Ring, 15:00"]
    pressed(what, seen)

    closure = ArenaClosure.objects.get()
    assert (closure.closed_from, closure.closed_to) == (what.first, what.last)
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.arena, first.starts_at) == (ring, at("13:00"))
    assert (second.arena, second.starts_at) == (ring, at("15:00"))


def test_a_lead_rein_lesson_goes_where_leaders_are_left(sick) -> None:
    """Two lead here, and both do so elsewhere from noon to one."""
    School.objects.update(leaders=2, start_every_min=5)
    lesson = lesson_of(
        sick,
        "11:00",
        lesson__kind="lead-rein",
        lesson__work="flat",
        lesson__places=2,
        lesson__arena__name="Hall",
    )
    ring = ArenaFactory(name="Ring", opens_at="12:00", closes_at="13:00")
    LessonFactory(
        kind="lead-rein", work="flat", places=2, arena=ring, starts_at=at("12:00")
    )

    seen = looked(frozen(lesson.arena, last="12:00"))

    assert seen.broken == ""
    assert says(seen) == ["Ilka, Hall, 13:00"]


def test_a_grid_goes_only_where_a_line_is_long_enough(sick) -> None:
    """A cross and a vertical at 6 m, with 7 m of approach and of run-out: 20 m."""
    lesson = lesson_of(sick, lesson__arena__name="Hall")
    grid_of(lesson)
    for name, length_cm in (("Paddock", 1900), ("Ring", 2000)):
        LineFactory(arena=ArenaFactory(name=name), length_cm=length_cm)
    ArenaFactory(name="Yard")

    item = looked(frozen(lesson.arena)).proposal.items[0]

    assert item.says.startswith("Ilka, Ring, 09:00")
    assert "another arena, with a line long enough for the grid" in [
        one.says for one in item.terms
    ]
    assert not any(one.says.startswith("Ilka, Paddock") for one in item.options)
    assert item.why[1:] == (
        "Paddock has no room for the grid: it takes 20.00 m with approach and run-out, "
        "its longest line has 19.00 m",
        "Yard has no room for the grid: it takes 20.00 m with approach and run-out, "
        "and no line is drawn there",
    )


def test_a_grid_stays_in_its_own_arena_whatever_is_drawn_there(sick, arno) -> None:
    lesson = lesson_of(sick, lesson__arena__name="Hall")
    grid_of(lesson)

    assert says(looked(out(sick))) == ["Arno, Hall, 09:00"]


def test_pieces_the_other_arena_lacks_are_said_before_it_is_done(sick, arno) -> None:
    """A cross and a vertical take two pairs of wings; the Ring keeps one wing."""
    lesson = lesson_of(sick, lesson__title="Grid", lesson__arena__name="Hall")
    grid_of(lesson)
    ring = ArenaFactory(name="Ring")
    LineFactory(arena=ring, length_cm=6000)
    for arena, wings in ((lesson.arena, 8), (ring, 1)):
        place = KeepingPlaceFactory(name=f"{arena} shed", arena=arena)
        StorePieceFactory(place=place, piece="wing", working=wings)

    (moved,) = looked(frozen(lesson.arena)).notes

    assert moved == (
        "Grid, Sat 6 Mar 09:00: Ring's wings: 1 works, this grid needs 4: fetch 3 from "
        "Hall shed."
    )
    assert looked(out(sick)).notes == ()


def test_what_is_only_warned_of_is_said_before_it_is_done(sick) -> None:
    """Moved to two o'clock, the horse has twenty minutes' rest, where thirty warn."""
    lesson = lesson_of(
        sick, lesson__title="Grid", lesson__work="flat", horse__rest_min=0
    )
    horse = lesson.rides.get().horse
    other = LessonFactory(title="Hack", work="flat", starts_at=at("15:20"))
    RideFactory(lesson=other, horse=horse)
    what = frozen(lesson.arena, last="14:00")
    start = int(at("14:00").timestamp())
    key = f"{sick.pk}_{lesson.arena_id}_{start}"
    chosen = {f"lesson-{lesson.pk}": key}

    seen = looked(what, chosen)

    assert seen.notes == (
        f"Grid, Sat 6 Mar 14:00: {horse} would rest 20 minutes between two lessons; "
        "better at least 30 (half an hour untacked; the tool's own estimate).",
    )
    assert pressed(what, seen, chosen=chosen).changed == 1
