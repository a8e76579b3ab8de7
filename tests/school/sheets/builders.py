"""Sheets built by hand, and a reader for what was printed."""

from io import BytesIO
from typing import Any

import pypdf

from exercises.geometry.elements import Element, GroundLine, Kind
from school.sheets.build_sheet import (
    BuildSheet,
    SheetRow,
    Stage,
    TapePlace,
    build_sheet,
)

TWO = (
    Element(Kind.CROSS, 0, 50, ground_line=GroundLine.TAKE_OFF),
    Element(Kind.OXER, 560, 60, 70, ascending=True),
)
LONG_ROW = SheetRow(
    elements=[
        Element(
            Kind.OXER if n % 3 == 2 else Kind.VERTICAL,
            n * 700 + n // 3 * 80,
            70 + n,
            80 if n % 3 == 2 else 0,
            ground_line=GroundLine.BOTH,
            guides=True,
        )
        for n in range(10)
    ],
    meanings=["two strides"] * 9,
    place=TapePlace("the gate end of the long side", 7600, towards=True),
)
SIX_STAGES = [
    Stage(
        f"Stage {n}",
        "raise the third, fourth and fifth fence, lay the ground lines out, ride it "
        "twice on each rein before the next; 3 passes",
    )
    for n in range(6)
]


def plain_sheet(**changes: Any) -> BuildSheet:
    fields: dict[str, Any] = {
        "title": "Two fences",
        "aim": "A first row",
        "facts": [("Where", "Hall, long side"), ("Horses", "")],
        "row": SheetRow(TWO, meanings=["one stride"]),
        "stages": SIX_STAGES,
        "cautions": ["Check every distance on the ground.", "Mind the landing."],
        "address": "https://example.org/lessons/7/",
        "made": "Made on a Monday",
    }
    return build_sheet(**(fields | changes))


def read_text(pdf: bytes) -> str:
    """Return the words of every page in one line, as another library reads them."""
    pages = pypdf.PdfReader(BytesIO(pdf)).pages
    return " ".join(" ".join(one.extract_text() for one in pages).split())
