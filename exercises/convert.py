"""Revisions as exercises the pure rooms work with."""

from exercises.geometry.spec import ExerciseSpec, read_spec
from exercises.models import ExerciseRevision


def spec_of(revision: ExerciseRevision) -> ExerciseSpec:
    """Return the exercise a revision holds."""
    return read_spec(revision.spec)
