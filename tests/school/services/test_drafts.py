"""Grids in the making: every step is kept, nothing is overwritten unseen."""

from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from exercises.convert import spec_of
from exercises.geometry.editing.edits import (
    AddElement,
    RemoveElement,
    SetHeight,
    SetName,
    UnableToEdit,
)
from exercises.geometry.elements import Kind
from exercises.geometry.units import HeightUnit, Units
from exercises.models import Exercise
from exercises.services import load_library, revise_exercise
from school.convert import history_of
from school.models import AuditEntry, GridDraft, LessonGrid
from school.services.drafts import (
    drop_draft,
    edit_draft,
    keep_draft,
    redo_draft,
    start_draft,
    undo_draft,
)
from school.services.grids import UnableToAttach, attach_grid
from tests.clock import NOW
from tests.exercises.geometry.editing.strategies import EDITS
from tests.factories.arenas import LineFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(minutes=5)


@pytest.fixture(autouse=True)
def _library() -> None:
    load_library(now=NOW)


def start(slug: str | None = "placing-pole-double", by=None):
    exercise = Exercise.objects.get(slug=slug) if slug else None
    return start_draft(by=by or AccountFactory(), now=NOW, exercise=exercise)


def edit(draft, *edits, **more):
    fields = {"version": draft.version, "by": draft.account, "now": LATER} | more
    return edit_draft(draft=draft, edits=edits, **fields)


def back(draft, service=undo_draft):
    return service(draft=draft, version=draft.version, by=draft.account, now=LATER)


def keep(draft, **more):
    fields = {"version": draft.version, "by": draft.account, "now": LATER} | more
    return keep_draft(draft=draft, **fields)


def test_a_grid_begins_from_an_exercise_and_is_found_again() -> None:
    draft = start()
    edit(draft, SetHeight(1, 60))

    again = start(by=draft.account)

    assert again.pk == draft.pk
    assert history_of(again).spec.elements[1].height_cm == 60
    assert AuditEntry.objects.get().action == "begin grid"


def test_a_grid_begins_from_nothing_as_often_as_one_likes() -> None:
    account = AccountFactory()

    assert start(None, account).pk != start(None, account).pk


def test_a_step_says_what_it_changed_and_can_be_undone_and_redone() -> None:
    draft = edit(start(), SetHeight(1, 60))
    before = spec_of(draft.revision)

    undone = back(draft)
    redone = back(undone, redo_draft)

    assert history_of(draft).undoes == "First fence up 20 cm"
    assert history_of(undone).spec == before
    assert history_of(undone).redoes == "First fence up 20 cm"
    assert history_of(redone).spec == history_of(draft).spec
    assert [draft.version, undone.version, redone.version] == [2, 3, 4]


def test_several_edits_are_one_step_and_none_is_no_step() -> None:
    units = Units(heights=HeightUnit.HOLES)
    draft = edit(
        start(), SetHeight(1, 50), SetHeight(1, 50), RemoveElement(0), units=units
    )

    same = edit(draft, SetHeight(0, 50))

    assert history_of(draft).undoes == "First fence up 2 holes; Pole taken out"
    assert same.version == draft.version
    assert back(back(back(draft))).at == 0


def test_an_edit_that_is_refused_leaves_the_grid_as_it_was() -> None:
    draft = start()

    with pytest.raises(UnableToEdit, match="180 cm is too high"):
        edit(draft, SetHeight(1, 60), SetHeight(2, 180))

    assert GridDraft.objects.get().version == 1


@pytest.mark.parametrize("service", ["edit", "undo", "redo", "keep"])
def test_a_second_window_is_told_what_the_first_changed(service: str) -> None:
    old = start()
    new = edit(edit(old, SetHeight(1, 60)), RemoveElement(0))
    act = {
        "edit": lambda: edit(old, SetHeight(1, 30)),
        "undo": lambda: back(old),
        "redo": lambda: back(old, redo_draft),
        "keep": lambda: keep(old),
    }[service]

    with pytest.raises(UnableToEdit) as caught:
        act()

    assert caught.value.code == "changed-meanwhile"
    assert "another window: First fence up 20 cm; Pole taken out." in caught.value.says
    assert GridDraft.objects.get().steps == new.steps


def test_a_window_left_open_on_a_grid_put_away_says_so() -> None:
    draft = start()
    for _ in range(2):
        drop_draft(draft=draft, by=draft.account, now=LATER)

    with pytest.raises(UnableToEdit, match="put away in another window"):
        edit(draft, SetHeight(1, 60))
    assert AuditEntry.objects.filter(action="drop grid").count() == 1


def test_a_changed_exercise_is_kept_as_a_revision_and_the_librarys_stays() -> None:
    draft = edit(start(), SetHeight(1, 60))

    kept = keep(draft)

    exercise = Exercise.objects.get(slug="placing-pole-double")
    first, second = exercise.revisions.order_by("number")
    assert (exercise.own, exercise.current, kept.revision) == (True, second, second)
    assert first.spec["elements"][1]["height_cm"] == 40
    assert second.spec["elements"][1]["height_cm"] == 60
    assert second.spec["grade"] == "own"
    assert second.spec["source"].startswith("The school's own, made from: ")
    assert not GridDraft.objects.exists()
    assert load_library(now=LATER).left_alone == ("placing-pole-double",)


def test_a_kept_grid_of_ones_own_keeps_its_source() -> None:
    once = keep(edit(start(), SetHeight(1, 60)))

    twice = keep(edit(start(), SetHeight(1, 50)))

    assert twice.revision.number == 3
    assert twice.revision.spec["source"] == once.revision.spec["source"]


def test_a_grid_from_nothing_is_kept_under_its_name() -> None:
    draft = edit(start(None), AddElement(2, Kind.OXER), SetName("Our oxer", "Go up"))

    kept = keep(draft)

    assert (kept.exercise.slug, kept.exercise.own) == ("our-oxer", True)
    assert kept.exercise.current == kept.revision


def test_a_changed_exercise_is_kept_beside_the_one_it_was() -> None:
    draft = edit(start(), SetName("Our own double", "Go up"))

    kept = keep(draft, as_new=True)

    assert kept.exercise.slug == "our-own-double"
    assert not Exercise.objects.get(slug="placing-pole-double").own


@pytest.mark.parametrize(
    ("edits", "code"),
    [
        ([], "needs-name"),
        ([SetName("A first bounce", "Go up")], "name-taken"),
        ([SetName("--- ---", "Go up")], "name-taken"),
        ([SetName("Bounce: pair", "Go up")], "name-taken"),
    ],
)
def test_a_new_grid_needs_a_name_of_its_own(edits, code: str) -> None:
    draft = edit(start(None), *edits)

    with pytest.raises(UnableToEdit) as caught:
        keep(draft)

    assert caught.value.code == code
    assert GridDraft.objects.exists()


def test_what_somebody_kept_meanwhile_is_not_overwritten_unseen() -> None:
    draft = edit(start(), SetHeight(1, 60))
    other = spec_of(draft.revision).model_copy(update={"aim": "Something else"})
    revise_exercise(exercise=draft.exercise, spec=other, by="ilka", now=NOW)

    with pytest.raises(UnableToEdit) as caught:
        keep(draft)
    kept = keep(draft, seen_revision=2)

    assert "Meanwhile ilka made revision 2 of" in caught.value.says
    assert caught.value.fields == {"revision": 2}
    assert kept.revision.number == 3


def for_lesson(**changes):
    SchoolFactory(tradition="schooling")
    ride = RideFactory(horse__name="Onyx", lesson__title="Jump", **changes)
    LineFactory(arena=ride.lesson.arena)
    return ride.lesson


def begin_for(lesson, slug: str | None = "placing-pole-double"):
    if slug:
        revision = Exercise.objects.get(slug=slug).current
        attach_grid(lesson=lesson, revision=revision, by=None, now=NOW)
    return start_draft(by=AccountFactory(), now=NOW, lesson=lesson)


def test_a_lessons_grid_is_changed_for_that_lesson_alone() -> None:
    lesson = for_lesson()
    draft = edit(begin_for(lesson), SetHeight(1, 45), SetHeight(1, 50))

    kept = keep(draft)

    grid = LessonGrid.objects.get()
    exercise = Exercise.objects.get(slug="placing-pole-double")
    assert kept.grid == grid
    assert grid.start[1]["height_cm"] == 50
    assert grid.changes[0]["says"] == "First fence up 5 cm; First fence up 5 cm"
    assert (exercise.own, exercise.revisions.count()) == (False, 1)


def test_what_was_changed_for_a_lesson_is_where_the_next_change_begins() -> None:
    lesson = for_lesson()
    keep(edit(begin_for(lesson), SetHeight(1, 50)))

    again = start_draft(by=AccountFactory(), now=NOW, lesson=lesson)
    twice = start_draft(by=again.account, now=NOW, lesson=lesson)

    assert history_of(again).spec.elements[1].height_cm == 50
    assert twice.pk == again.pk


@pytest.mark.parametrize("slug", [None, "placing-pole-double"])
def test_a_grid_made_in_a_lesson_is_kept_as_ones_own_and_attached(slug) -> None:
    lesson = for_lesson()
    draft = edit(begin_for(lesson, slug), SetName("Evening row", "Go up"))

    kept = keep(draft, as_new=True)

    assert LessonGrid.objects.get().revision == kept.revision
    assert kept.exercise.slug == "evening-row"


def test_what_does_not_fit_the_lesson_is_refused_and_the_grid_stays_in_the_making():
    lesson = for_lesson(rider__highest_fence_cm=80, rider__person__first_name="Mira")
    draft = edit(begin_for(lesson), SetHeight(2, 100))

    with pytest.raises(UnableToAttach, match="Mira"):
        keep(draft)
    named = edit(draft, SetName("A high row", "Go up"))
    with pytest.raises(UnableToAttach, match="Mira"):
        keep(named, as_new=True)

    assert GridDraft.objects.exists()
    assert LessonGrid.objects.get().changes == []
    assert not Exercise.objects.filter(slug="a-high-row").exists()


def test_another_grid_attached_meanwhile_is_not_changed_unseen() -> None:
    lesson = for_lesson()
    draft = edit(begin_for(lesson), SetHeight(1, 50))
    other = Exercise.objects.get(slug="bounce-pair").current
    attach_grid(lesson=lesson, revision=other, by=None, now=NOW)

    with pytest.raises(UnableToEdit, match="Jump has another grid by now"):
        keep(draft)


class Undo(TestCase):
    """Undo in the database, for whatever was edited."""

    @settings(max_examples=10, suppress_health_check=[HealthCheck.too_slow])
    @given(st.lists(EDITS, max_size=6))
    def test_undoing_everything_brings_back_the_first(self, edits) -> None:
        draft = start()
        first = draft.steps[0]["spec"]
        for one in edits:
            try:
                draft = edit(draft, one)
            except UnableToEdit:
                continue
        while draft.at:
            draft = back(draft)
        assert draft.steps[draft.at]["spec"] == first
