"""Grids attached to lessons: fitted, judged, overruled only with name and reason."""

import pytest

from exercises.models import Exercise
from exercises.services import load_library
from school.models import AuditEntry, LessonGrid, School, WelfareOverride
from school.services.grids import UnableToAttach, attach_grid, detach_grid
from tests.clock import NOW
from tests.factories.arenas import (
    KeepingPlaceFactory,
    LineFactory,
    StorePieceFactory,
)
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _library() -> None:
    SchoolFactory(tradition="schooling")
    load_library(now=NOW)
    StorePieceFactory(working=10)
    StorePieceFactory(working=10, place="by the ring")


def lesson(**changes):
    ride = RideFactory(horse__name="Onyx", lesson__title="Jump", **changes)
    LineFactory(arena=ride.lesson.arena)
    return ride.lesson


def revision(slug: str = "placing-pole-double"):
    return Exercise.objects.get(slug=slug).current


def attach(to, slug: str = "placing-pole-double", **more):
    fields = {"by": None, "now": NOW} | more
    return attach_grid(lesson=to, revision=revision(slug), **fields)


def test_a_grid_keeps_what_it_was_fitted_to_and_found() -> None:
    one = lesson()

    grid = attach(one)

    (gap, *_) = grid.fitted["gaps"]
    assert grid.tradition == "schooling"
    assert gap["meaning"] == "placing-trot"
    assert gap["horses"][0]["horse"] == "Onyx"
    assert {v["fit"] for v in grid.fitted["verdicts"]} == {"fits"}
    assert grid.start[0] == {"kind": "pole", "at_cm": 0}
    assert AuditEntry.objects.get().action == "attach grid"


def test_another_grid_takes_the_place_of_the_first() -> None:
    one = lesson()
    attach(one)

    attach(one, "bounce-pair", tradition="twelve-foot")

    grid = LessonGrid.objects.get()
    assert (grid.revision, grid.tradition) == (revision("bounce-pair"), "twelve-foot")


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"lesson__work": "flat"}, "is a flat lesson"),
        ({"lesson__state": "running"}, "its grid stays"),
        ({"horse": None}, "a horse first"),
    ],
)
def test_a_lesson_that_takes_no_grid_says_why(changes: dict, says: str) -> None:
    changes.pop("horse", None)
    one = lesson(**changes)
    if says == "a horse first":
        RideFactory(lesson=one, horse=None)

    with pytest.raises(UnableToAttach, match=says):
        attach(one)


def test_a_lesson_without_riders_has_nothing_to_fit_to() -> None:
    empty = LessonFactory(title="Empty")

    with pytest.raises(UnableToAttach, match="Empty: give the lesson's riders"):
        attach(empty)


def test_what_does_not_fit_needs_a_name_and_a_reason() -> None:
    one = lesson(rider__highest_fence_cm=40, rider__person__first_name="Mira")
    by = AccountFactory()
    reasons = {"height for Mira": "rode it last week", "else": " "}

    with pytest.raises(UnableToAttach) as caught:
        attach(one)
    with pytest.raises(UnableToAttach, match="The highest fence"):
        attach(one, overrides=reasons)
    attach(one, by=by, overrides=reasons)

    assert any(v.subject == "height for Mira" for v in caught.value.verdicts)
    override = LessonGrid.objects.get().overrides.get()
    assert (override.by, override.reason) == (by, "rode it last week")


def test_the_store_is_never_overruled() -> None:
    one = lesson()
    StorePieceFactory(piece="pole", working=1)

    with pytest.raises(UnableToAttach, match="more than the store has"):
        attach(one, by=AccountFactory(), overrides={"store": "we borrow some"})


def test_taking_a_grid_away_twice_is_harmless() -> None:
    one = lesson()
    attach(one)
    for _ in range(2):
        detach_grid(lesson=one, by=None, now=NOW)

    assert not LessonGrid.objects.exists()
    assert AuditEntry.objects.filter(action="detach grid").count() == 1


def limited(refuse: int, warn: int = 1) -> None:
    School.objects.update(
        welfare={
            rule: {"warn": warn, "refuse": refuse}
            for rule in ("efforts", "efforts-high")
        }
    )


def test_a_grid_of_more_jumps_than_the_horses_day_allows_is_refused() -> None:
    """The limits of efforts are the tool's own judgement; here they are set low."""
    one, by = lesson(), AccountFactory()
    limited(5)

    with pytest.raises(UnableToAttach, match="Take a shorter grid") as caught:
        attach(one, by=by)

    assert caught.value.work is not None
    assert caught.value.work.overridable
    assert not LessonGrid.objects.exists()
    assert not WelfareOverride.objects.exists()


def test_a_grid_over_the_limit_is_attached_with_a_reason_that_is_kept() -> None:
    one, by = lesson(), AccountFactory()
    limited(5)

    attach(one, by=by, overrule="Half the passes, poles first")

    kept = WelfareOverride.objects.get()
    assert (kept.rule, kept.by, kept.reason) == (
        "efforts",
        by,
        "Half the passes, poles first",
    )
    attach(one, by=by)
    assert LessonGrid.objects.get().lesson == one


def test_a_grid_that_is_only_warned_of_is_attached_and_the_warning_noted() -> None:
    one = lesson()
    limited(200)

    attach(one)

    assert LessonGrid.objects.exists()
    assert AuditEntry.objects.filter(action="warned").count() == 1


def test_a_grid_for_a_lesson_only_asked_for_is_held_against_no_limit_yet() -> None:
    one = lesson(lesson__state="asked")
    limited(5)

    assert attach(one).lesson == one


def test_what_an_arena_has_not_of_its_own_is_looked_at_and_does_not_forbid() -> None:
    one = lesson()
    place = KeepingPlaceFactory(name="Box", arena=one.arena)
    StorePieceFactory(piece="cup", place=place, working=2, broken=3)
    StorePieceFactory(piece="cup", place="barn", working=30)

    grid = attach(one)

    looks = [v["says"] for v in grid.fitted["verdicts"] if v["fit"] != "fits"]
    (says,) = looks
    assert says.startswith(f"{one.arena}'s cups: 2 work (3 of 5 are broken), this grid")
    assert says.endswith("from barn.")


def test_a_yard_with_too_few_refuses_and_says_what_is_broken() -> None:
    StorePieceFactory(piece="cup", place="barn", working=1, broken=9)

    with pytest.raises(UnableToAttach, match=r"cups of 1 \(9 of 10 are broken\)"):
        attach(lesson())
