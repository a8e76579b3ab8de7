"""Brings the library in, and keeps a school's own changes apart."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.db import transaction

from exercises.geometry.library import read_library
from exercises.geometry.spec import ExerciseSpec, spec_as_data
from exercises.models import Exercise, ExerciseRevision

LIBRARY = Path(__file__).parent / "library"
FAULTS = Path(__file__).parent / "remedies" / "faults.toml"
PUBLISHED = Path(__file__).parent / "published"
"""Published distances and counts, one file for each source."""


LIBRARYS = "the library"
"""Who made a revision that came with the library."""


@dataclass(frozen=True, slots=True)
class Loaded:
    """What a load of the library did, by slug.

    Parameters
    ----------
    added, revised
        New to the school, or in a newer state.
    left_alone
        Changed by the school itself: the library's state lies beside it.
    """

    added: tuple[str, ...]
    revised: tuple[str, ...]
    left_alone: tuple[str, ...]


class UnableToChoose(ValueError):
    """Nothing to choose between: a code and plain words."""

    def __init__(self, code: str, says: str) -> None:
        super().__init__(says)
        self.code = code
        self.says = says


def load_library(*, now: datetime, folder: Path = LIBRARY) -> Loaded:
    """Add what is new in the library and revise what changed.

    What a school has changed itself stays as it is: the library's newest state
    becomes a revision beside it, for the school to look at.
    """
    added, revised, left = [], [], []
    with transaction.atomic():
        known = {
            one.slug: one
            for one in Exercise.objects.select_for_update(of=("self",)).select_related(
                "library"
            )
        }
        for spec in read_library(folder):
            exercise = known.get(spec.slug)
            if exercise is None:
                exercise = Exercise.objects.create(slug=spec.slug, name=spec.name)
                added.append(spec.slug)
            elif exercise.own:
                left.append(spec.slug)
            library = exercise.library
            if library is not None and library.spec == spec_as_data(spec):
                continue
            if not exercise.own and spec.slug not in added:
                revised.append(spec.slug)
            exercise.library = _revision(exercise, spec, LIBRARYS, now)
            if not exercise.own:
                exercise.current, exercise.name = exercise.library, spec.name
            exercise.save()
    return Loaded(tuple(added), tuple(revised), tuple(left))


def revise_exercise(
    *, exercise: Exercise, spec: ExerciseSpec, by: str, now: datetime
) -> ExerciseRevision:
    """Make a school's own revision; lessons keep the one they used."""
    with transaction.atomic():
        fresh = _locked(exercise)
        if not fresh.own:
            fresh.kept = fresh.library
        fresh.own, fresh.name = True, spec.name
        fresh.current = _revision(fresh, spec, by, now)
        fresh.save()
        return fresh.current


def make_exercise(*, spec: ExerciseSpec, by: str, now: datetime) -> ExerciseRevision:
    """Make an exercise of the school's own, with its first revision."""
    with transaction.atomic():
        exercise = Exercise.objects.create(slug=spec.slug, name=spec.name, own=True)
        exercise.current = _revision(exercise, spec, by, now)
        exercise.save()
        return exercise.current


def take_librarys(*, exercise: Exercise) -> Exercise:
    """Ride an exercise as the library has it; the school's own state is kept.

    Raises
    ------
    UnableToChoose
        With code `no-library`, for an exercise that is only the school's.
    """
    with transaction.atomic():
        fresh = _locked(exercise)
        library = _librarys(fresh)
        fresh.own, fresh.current, fresh.kept = False, library, None
        fresh.name = library.spec["name"]
        fresh.save()
        return fresh


def keep_ours(*, exercise: Exercise) -> Exercise:
    """Stay with the school's own, having looked at the library's newest.

    Raises
    ------
    UnableToChoose
        With code `no-library` or `not-ours`.
    """
    with transaction.atomic():
        fresh = _locked(exercise)
        library = _librarys(fresh)
        if not fresh.own:
            raise UnableToChoose(
                "not-ours", f"{fresh.name} is the library's: there is no own to keep."
            )
        fresh.kept = library
        fresh.save()
        return fresh


def _locked(exercise: Exercise) -> Exercise:
    return Exercise.objects.select_for_update().get(pk=exercise.pk)


def _librarys(exercise: Exercise) -> ExerciseRevision:
    if exercise.library is None:
        raise UnableToChoose(
            "no-library", f"{exercise.name} is the school's own: no library has it."
        )
    return exercise.library


def _revision(
    exercise: Exercise, spec: ExerciseSpec, by: str, now: datetime
) -> ExerciseRevision:
    last = exercise.revisions.order_by("-number").first()
    return ExerciseRevision.objects.create(
        exercise=exercise,
        number=last.number + 1 if last else 1,
        spec=spec_as_data(spec),
        made_at=now,
        made_by=by,
    )
