"""The library comes in; a school's own changes stay; past lessons keep theirs."""

import shutil
from importlib import import_module
from pathlib import Path

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command

from exercises.convert import spec_of
from exercises.geometry.spec import InvalidExercise
from exercises.models import Exercise, ExerciseRevision
from exercises.services import (
    LIBRARY,
    UnableToChoose,
    keep_ours,
    load_library,
    revise_exercise,
    take_librarys,
)
from tests.clock import NOW

name_librarys_newest = import_module(
    "exercises.migrations.0004_librarys_newest"
).name_librarys_newest

pytestmark = pytest.mark.django_db


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for slug in ("bounce-pair", "canter-poles"):
        shutil.copy(LIBRARY / f"{slug}.toml", tmp_path)
    return tmp_path


def change(folder: Path) -> None:
    path = folder / "bounce-pair.toml"
    path.write_text(path.read_text().replace("A first bounce", "The first bounce"))


def test_a_load_adds_what_is_new_and_nothing_twice(folder: Path) -> None:
    first = load_library(now=NOW, folder=folder)
    second = load_library(now=NOW, folder=folder)

    assert first.added == ("bounce-pair", "canter-poles")
    assert (second.added, second.revised, second.left_alone) == ((), (), ())
    assert ExerciseRevision.objects.count() == 2


def test_a_changed_file_makes_a_revision_and_the_old_one_stays(folder: Path) -> None:
    load_library(now=NOW, folder=folder)
    old = Exercise.objects.get(slug="bounce-pair").current
    change(folder)

    done = load_library(now=NOW, folder=folder)

    exercise = Exercise.objects.get(slug="bounce-pair")
    old.refresh_from_db()
    assert done.revised == ("bounce-pair",)
    assert (exercise.name, exercise.current.number) == ("The first bounce", 2)
    assert old.spec["name"] == "A first bounce"


def own(folder: Path) -> Exercise:
    load_library(now=NOW, folder=folder)
    exercise = Exercise.objects.get(slug="bounce-pair")
    spec = spec_of(exercise.current).model_copy(update={"name": "Our bounce"})
    revise_exercise(exercise=exercise, spec=spec, by="ilka", now=NOW)
    exercise.refresh_from_db()
    return exercise


def test_a_schools_own_change_is_left_alone_and_the_librarys_laid_beside_it(
    folder: Path,
) -> None:
    exercise = own(folder)
    ours = exercise.current
    change(folder)

    done = load_library(now=NOW, folder=folder)

    exercise.refresh_from_db()
    assert done.left_alone == ("bounce-pair",)
    assert (exercise.name, exercise.own) == ("Our bounce", True)
    assert exercise.current == ours
    assert exercise.library.spec["name"] == "The first bounce"
    assert (exercise.library.number, exercise.library.made_by) == (3, "the library")
    assert exercise.waiting


def test_a_load_that_brings_nothing_new_lays_nothing_beside(folder: Path) -> None:
    exercise = own(folder)

    load_library(now=NOW, folder=folder)
    load_library(now=NOW, folder=folder)

    exercise.refresh_from_db()
    assert not exercise.waiting
    assert exercise.revisions.count() == 2


def test_a_newer_own_revision_does_not_hide_what_the_library_has(folder: Path) -> None:
    exercise = own(folder)
    change(folder)
    load_library(now=NOW, folder=folder)

    revise_exercise(
        exercise=exercise, spec=spec_of(exercise.current), by="ilka", now=NOW
    )

    exercise.refresh_from_db()
    assert exercise.waiting


def test_an_exercise_made_by_the_school_meets_one_of_the_library_by_its_name(
    folder: Path,
) -> None:
    exercise = Exercise.objects.create(slug="bounce-pair", name="Ours", own=True)

    load_library(now=NOW, folder=folder)

    exercise.refresh_from_db()
    assert exercise.current is None
    assert exercise.library.spec["name"] == "A first bounce"


def test_the_librarys_is_taken_and_ours_stays_among_the_revisions(
    folder: Path,
) -> None:
    exercise = own(folder)
    change(folder)
    load_library(now=NOW, folder=folder)

    taken = take_librarys(exercise=exercise)
    again = take_librarys(exercise=exercise)

    assert (taken.own, taken.name, taken.waiting) == (False, "The first bounce", False)
    assert again.current == taken.current == taken.library
    assert taken.revisions.filter(made_by="ilka").count() == 1


def test_ours_is_kept_until_the_library_has_something_newer(folder: Path) -> None:
    exercise = own(folder)
    change(folder)
    load_library(now=NOW, folder=folder)

    kept = keep_ours(exercise=exercise)

    assert (kept.own, kept.name, kept.waiting) == (True, "Our bounce", False)
    path = folder / "bounce-pair.toml"
    path.write_text(path.read_text().replace("The first bounce", "A bounce"))
    load_library(now=NOW, folder=folder)
    kept.refresh_from_db()
    assert kept.waiting


def test_without_two_states_there_is_nothing_to_choose(folder: Path) -> None:
    load_library(now=NOW, folder=folder)
    librarys = Exercise.objects.get(slug="bounce-pair")
    only_ours = Exercise.objects.create(slug="only-ours", name="Only ours", own=True)

    with pytest.raises(UnableToChoose) as no_library:
        take_librarys(exercise=only_ours)
    with pytest.raises(UnableToChoose) as not_ours:
        keep_ours(exercise=librarys)

    assert (no_library.value.code, not_ours.value.code) == ("no-library", "not-ours")
    assert "Only ours is the school's own" in no_library.value.says


def test_rows_of_before_know_which_state_was_the_librarys(folder: Path) -> None:
    exercise, other = own(folder), Exercise.objects.get(slug="canter-poles")
    Exercise.objects.update(library=None, kept=None)

    name_librarys_newest(apps, None)

    exercise.refresh_from_db()
    other.refresh_from_db()
    assert (exercise.library.number, exercise.waiting) == (1, False)
    assert other.library == other.current


def test_a_broken_file_leaves_everything_as_it_was(folder: Path) -> None:
    load_library(now=NOW, folder=folder)
    change(folder)
    path = folder / "canter-poles.toml"
    path.write_text(path.read_text().replace('kind = "pole"', 'kind = "wall"', 1))

    with pytest.raises(InvalidExercise, match=r"canter-poles\.toml: elements\[0\]"):
        load_library(now=NOW, folder=folder)

    assert ExerciseRevision.objects.count() == 2


def test_the_command_says_what_it_did(capsys) -> None:
    call_command("load_library")

    assert "added, 0 revised, 0 left" in capsys.readouterr().out


def test_the_command_names_a_broken_file_and_writes_nothing(
    folder: Path, monkeypatch
) -> None:
    (folder / "canter-poles.toml").write_text('slug = "canter-poles"')
    monkeypatch.setattr("exercises.management.commands.load_library.LIBRARY", folder)

    with pytest.raises(CommandError, match=r"canter-poles\.toml: name: field required"):
        call_command("load_library")

    assert not Exercise.objects.exists()
