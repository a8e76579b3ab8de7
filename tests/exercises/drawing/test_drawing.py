"""Drawings of rows: true to scale, readable, and said in words."""

from contextlib import suppress
from itertools import accumulate
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.drawing.plan import draw_plan
from exercises.drawing.side import draw_side
from exercises.drawing.words import element_words, row_words
from exercises.geometry.editing.apply import apply
from exercises.geometry.editing.edits import UnableToEdit
from exercises.geometry.elements import Element, GroundLine, Kind
from exercises.geometry.fitting import fit_row
from exercises.geometry.library import read_library
from exercises.geometry.strides import HorseSize, Tradition
from exercises.geometry.units import (
    METRIC,
    HeightUnit,
    HorseUnit,
    LengthUnit,
    Units,
)
from exercises.services import LIBRARY
from tests.exercises.geometry.editing.strategies import EDITS, SPECS

SVG = "{http://www.w3.org/2000/svg}"
EVERY = (
    Element(Kind.POLE, 0),
    Element(Kind.RAISED_POLE, 130, 15),
    Element(Kind.CROSS, 400, 40, ground_line=GroundLine.TAKE_OFF),
    Element(Kind.VERTICAL, 1000, 110, guides=True),
    Element(Kind.OXER, 1700, 90, 100, ground_line=GroundLine.BOTH, ascending=True),
    Element(Kind.PLANK, 2100),
)
ROWS = [
    (f"{spec.slug}-{size}-{name}", elements)
    for spec in read_library(LIBRARY)
    for size in (118, 168)
    for name, elements in (
        ("start", fit_row(spec, [HorseSize("A", size)], Tradition.SCHOOLING).start),
        ("end", fit_row(spec, [HorseSize("A", size)], Tradition.SCHOOLING).end),
    )
]


def parsed(text: str) -> ElementTree.Element:
    return ElementTree.fromstring(text)  # noqa: S314 -- our own drawing


def texts(root: ElementTree.Element) -> list[ElementTree.Element]:
    return list(root.iter(f"{SVG}text"))


def test_distances_in_the_drawing_are_those_on_the_ground() -> None:
    root = parsed(draw_side(EVERY, ident="a", title="Every kind", from_cm=700))

    posts = sorted(
        {
            float(one.get("x1"))
            for one in root.iter(f"{SVG}line")
            if one.get("x1") == one.get("x2") and one.get("stroke-width") == "8"
        }
    )
    assert [round(b - posts[0]) for b in posts] == [0, 600, 1300, 1400]


def test_gaps_and_datum_distances_are_written_in_metres() -> None:
    root = parsed(draw_side(EVERY, ident="a", title="Every kind", from_cm=700))

    words = [one.text for one in texts(root)]
    assert {"1.30", "2.70", "6.00", "7.00", "3.00"} <= set(words)
    assert {"8.30", "11.00", "17.00", "24.00", "28.00"} <= set(words)
    assert "ridden this way" in words


@pytest.mark.parametrize("draw", [draw_side, draw_plan])
def test_a_drawing_has_a_name_and_words_and_no_style(draw) -> None:
    text = draw(EVERY, ident="a", title='Row <"&> 1')
    root = parsed(text)

    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "a-title a-says"
    assert root.find(f"{SVG}title").text == 'Row <"&> 1'
    assert "ascending oxer 90 cm, 100 cm wide" in root.find(f"{SVG}desc").text
    assert all("style" not in one.attrib for one in root.iter())


@pytest.mark.parametrize("draw", [draw_side, draw_plan])
@pytest.mark.parametrize(("name", "elements"), ROWS, ids=[name for name, _ in ROWS])
def test_letters_are_readable_on_a_phone_and_do_not_overlap(
    name: str, elements, draw
) -> None:
    assert overlaps(parsed(draw(elements, ident="a", title=name))) == []


UNITS = [
    METRIC,
    Units(LengthUnit.FEET, HeightUnit.FEET, HorseUnit.HANDS),
    Units(heights=HeightUnit.HOLES, first_hole_cm=20, hole_cm=5),
]


@pytest.mark.parametrize("draw", [draw_side, draw_plan])
@pytest.mark.parametrize("units", UNITS, ids=["metric", "feet", "holes"])
def test_the_longest_row_is_readable_in_every_unit(units: Units, draw) -> None:
    """Fourteen elements are the most a row has; bounces among long gaps."""
    feet = accumulate([0, *[130, 265, 305, 305, 620, 1010, 305] * 2][:14])
    row = tuple(
        Element(Kind.OXER, at, 45 + 5 * n, 60) if n % 3 else Element(Kind.POLE, at)
        for n, at in enumerate(feet)
    )

    root = parsed(draw(row, ident="a", title="Long", units=units))

    assert overlaps(root) == []


@given(SPECS, st.lists(EDITS, max_size=6), st.sampled_from(UNITS))
def test_whatever_is_edited_can_be_read(spec, edits, units: Units) -> None:
    for edit in edits:
        with suppress(UnableToEdit):
            spec = apply(spec, edit)
    row = fit_row(spec, [HorseSize("A", 148)], Tradition.SCHOOLING)

    for stage in row.stages:
        for draw in (draw_side, draw_plan):
            drawn = draw(stage.elements, ident="a", title="Row", units=units)
            assert overlaps(parsed(drawn)) == []


def overlaps(root: ElementTree.Element) -> list[tuple[str, str]]:
    """Return the words that lie over each other or outside, or are too small."""
    width, height = map(float, root.get("viewBox").split()[2:])
    boxes = []
    faults = []
    for one in texts(root):
        size = float(one.get("font-size"))
        # A drawing is at least 360 px wide on a phone.
        if size * 360 / width < 10:
            faults.append(("too small", one.text))
        length = 0.6 * size * len(one.text)
        left = float(one.get("x")) - (
            length / 2 if one.get("text-anchor") == "middle" else 0
        )
        low = float(one.get("y"))
        if left < -1 or left + length > width + 1 or not 0 < low < height:
            faults.append(("outside", one.text))
        boxes.append((left, low - 0.75 * size, left + length, low, one.text))
    return faults + [
        (a[4], b[4])
        for n, a in enumerate(boxes)
        for b in boxes[:n]
        if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
    ]


def test_measures_and_heights_follow_the_schools_units() -> None:
    feet = parsed(draw_side(EVERY, ident="a", title="Row", units=UNITS[1]))
    holes = parsed(draw_side(EVERY, ident="a", title="Row", units=UNITS[2]))

    assert {"19'8\"", "3'7\""} <= {one.text for one in texts(feet)}
    assert {"6.00", "hole 19"} <= {one.text for one in texts(holes)}
    assert "oxer 2 ft 11 in, 3 ft 3 in wide" in feet.find(f"{SVG}desc").text


def test_the_tape_is_said_in_words_too() -> None:
    root = parsed(draw_side(EVERY, ident="a", title="Row", from_cm=700))

    assert root.find(f"{SVG}desc").text.endswith(
        "Take-off feet, read from the datum: 7.00 m, 8.30 m, 11.00 m, 17.00 m, "
        "24.00 m, 28.00 m."
    )


def test_a_row_is_said_from_first_to_last() -> None:
    words = row_words(EVERY)

    assert words.startswith("In the order ridden: pole; 1.30 m; raised pole 15 cm;")
    assert "cross 40 cm, ground line in front" in words
    assert "vertical 110 cm, guide rails" in words
    assert words.endswith("plank.")
    assert element_words(EVERY[4]).endswith("ground lines on both sides")
