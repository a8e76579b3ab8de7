"""Stages on a build sheet: what each changes, in words, and how often it is ridden."""

import pytest

from exercises.geometry.fitting import fit_row
from exercises.geometry.spec import read_spec
from exercises.geometry.strides import HorseSize, Tradition
from school.sheets.grids import exercise_sheet
from tests.clock import NOW
from tests.factories.exercises import ExerciseRevisionFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

GROWING = {
    "slug": "growing-row",
    "name": "A growing row",
    "aim": "One change at a time",
    "level": "novice",
    "approach": "trot",
    "elements": [
        {"kind": "pole"},
        {"kind": "cross", "height_cm": 40, "gap": "placing-trot"},
    ],
    "start": {"says": "Pole and cross", "passes": 2},
    "stages": [
        {
            "says": "Raise the cross",
            "passes": 1,
            "changes": [{"kind": "cross", "height_cm": 50, "of": 1}],
        },
        {"says": "Without the pole", "out": [0]},
    ],
    "source": "the school's own",
    "grade": "own",
}


def sheet(data: dict):
    spec = read_spec(data)
    return exercise_sheet(
        revision=ExerciseRevisionFactory(spec=data),
        spec=spec,
        row=fit_row(spec, [HorseSize("A", 165)], Tradition.SCHOOLING),
        for_whom="a horse of 165 cm",
        tradition="Schooling",
        school=SchoolFactory(),
        address="https://example.org/",
        now=NOW,
    )


def test_each_stage_says_what_changes_and_how_often_it_is_ridden() -> None:
    stages = [(one.name, one.words) for one in sheet(GROWING).stages]

    assert stages == [
        ("Pole and cross", "2 passes"),
        ("Raise the cross", "cross 50 cm; 1 pass"),
        ("Without the pole", "1 taken out; 3 passes"),
    ]


def test_a_row_that_does_not_grow_has_no_stages() -> None:
    assert sheet(GROWING | {"stages": []}).stages == ()
