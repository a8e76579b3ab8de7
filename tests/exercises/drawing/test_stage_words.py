"""Stages in words, and rows as thumbnails."""

from xml.etree import ElementTree

import pytest

from exercises.drawing.stage_words import (
    outside_words,
    stage_words,
    step_words,
    two_things_words,
)
from exercises.drawing.thumbnail import draw_thumbnail
from exercises.geometry.elements import Element, GroundLine, Kind
from exercises.geometry.fitting import FittedStage, fit_row
from exercises.geometry.library import read_library
from exercises.geometry.stages import Step
from exercises.geometry.standing import fit_stages
from exercises.geometry.strides import HorseSize, Tradition
from exercises.services import LIBRARY
from tests.exercises.geometry.specs import spec, vertical, x

HORSE = HorseSize("Onyx", 165)
POLE = Element(Kind.POLE, 265)
CROSS = Element(Kind.CROSS, 265, 40)
VERTICAL = Element(Kind.VERTICAL, 265, 50)
OXER = Element(Kind.OXER, 265, 70, 80)


def step(was: Element | None, now: Element | None) -> str:
    return step_words(Step(0, was, now, ("it",)))


@pytest.mark.parametrize(
    ("was", "now", "says"),
    [
        (None, None, ""),
        (None, CROSS, "Add a cross 40 cm at 2.65 m."),
        (None, OXER, "Add an oxer 70 cm, 80 cm wide at 2.65 m."),
        (CROSS, None, "Take out the cross at 2.65 m."),
        (POLE, CROSS, "The pole at 2.65 m becomes a cross 40 cm."),
        (
            VERTICAL,
            Element(Kind.VERTICAL, 265, 60, ground_line=GroundLine.TAKE_OFF),
            "The vertical at 2.65 m: up 10 cm, to 60 cm, ground line in front.",
        ),
        (
            OXER,
            Element(Kind.OXER, 265, 60, 90, guides=True, ascending=True),
            "The oxer at 2.65 m: down 10 cm, to 60 cm, 10 cm wider, to 90 cm, "
            "front lower than the back, guide rails to it, 1 rail.",
        ),
        (
            Element(Kind.OXER, 265, 70, 80, guides=True, ascending=True),
            Element(Kind.OXER, 265, 70, 60),
            "The oxer at 2.65 m: 20 cm narrower, to 60 cm, both rails level, without "
            "guide rails.",
        ),
        (
            VERTICAL,
            Element(Kind.VERTICAL, 265, 50, rails=2),
            "The vertical at 2.65 m: 2 rails.",
        ),
    ],
)
def test_a_step_is_said_by_its_place_in_the_row(was, now, says: str) -> None:
    assert step(was, now) == says


def stage(*steps: Step, together: str = "") -> FittedStage:
    return FittedStage("Next", 3, (CROSS,), (0,), steps, together)


def test_a_stage_of_one_thing_is_not_pointed_out_and_one_of_two_is() -> None:
    one = Step(0, POLE, CROSS, ("kind",))
    other = Step(1, None, VERTICAL, ("added",))

    assert two_things_words(stage(one)) == ""
    assert two_things_words(stage(one, other)).startswith("2 things change at once")
    assert two_things_words(stage(one, other, together="Both alike")) == (
        "2 things change together: Both alike."
    )
    assert stage_words(stage(one, other)) == (
        "The pole at 2.65 m becomes a cross 40 cm.",
        "Add a vertical 50 cm at 2.65 m.",
    )


def test_a_gap_outside_a_band_is_said_with_how_much_for_whom() -> None:
    row = spec(
        x(),
        vertical("one-stride", height_cm=40),
        approach="canter",
        stages=[{"says": "One up", "changes": [vertical(of=1, height_cm=80)]}],
    )
    fitted = fit_row(row, [HORSE], Tradition.SCHOOLING)
    last = fit_stages(row, fitted, [HORSE], Tradition.SCHOOLING)[-1]

    (says,) = outside_words(last.outside)

    assert says.startswith("Gap 1, 5.")
    assert "as one stride, is" in says
    assert "short for Onyx as it stands now." in says


EVERY = (
    Element(Kind.POLE, 0),
    Element(Kind.RAISED_POLE, 130, 15),
    Element(Kind.CROSS, 400, 40, guides=True),
    Element(Kind.VERTICAL, 1000, 110),
    Element(Kind.OXER, 1700, 90, 100, ascending=True),
    Element(Kind.PLANK, 2100),
)


@pytest.mark.parametrize(
    "elements",
    [
        EVERY,
        (Element(Kind.POLE),),
        *(
            fit_row(one, [HORSE], Tradition.SCHOOLING).end
            for one in read_library(LIBRARY)
        ),
    ],
    ids=lambda elements: f"{len(elements)}-{elements[-1].at_cm}",
)
def test_a_thumbnail_keeps_inside_its_frame_and_says_the_row(elements) -> None:
    text = draw_thumbnail(elements, ident="row", title="A row")

    root = ElementTree.fromstring(text)  # noqa: S314 -- our own drawing
    _, _, width, height = (float(n) for n in root.get("viewBox").split())
    across = [float(node.get(k)) for node in root.iter() for k in ("x1", "x2", "cx")
              if node.get(k)]  # fmt: skip
    down = [float(node.get(k)) for node in root.iter() for k in ("y1", "y2", "cy")
            if node.get(k)]  # fmt: skip
    assert min(across) >= -6
    assert max(across) <= width
    assert min(down) >= 0
    assert max(down) <= height
    assert "In the order ridden" in text
