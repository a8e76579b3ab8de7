"""Reads the library: one TOML file for each exercise."""

import tomllib
from pathlib import Path

from exercises.geometry.spec import ExerciseSpec, InvalidExercise, read_spec


def read_library(folder: Path) -> tuple[ExerciseSpec, ...]:
    """Read every exercise of a folder, in the order of their files' names.

    Raises
    ------
    InvalidExercise
        Names the file and the place in it.
    """
    return tuple(_read(path) for path in sorted(folder.glob("*.toml")))


def _read(path: Path) -> ExerciseSpec:
    try:
        spec = read_spec(tomllib.loads(path.read_text(encoding="utf-8")))
    except InvalidExercise as error:
        place = f"{path.name}: {error.place}" if error.place else path.name
        raise InvalidExercise(place, error.says) from error
    except ValueError as error:
        raise InvalidExercise(path.name, f"is no TOML: {error}") from error
    if spec.slug != path.stem:
        raise InvalidExercise(f"{path.name}: slug", "must be the file's name")
    return spec
