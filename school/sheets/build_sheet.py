"""The build sheet: one page with all that is needed to build a row and check it.

Made for a lesson's grid, or for an exercise by itself. The sheet's document is
plain text and drawings, so the page and the PDF show the same.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any

from exercises.drawing.layout import LETTERS_ON_PAPER
from exercises.drawing.plan import draw_plan
from exercises.drawing.side import draw_side
from exercises.geometry.elements import (
    Element,
    GroundLine,
    Kind,
    Piece,
    pieces,
)
from exercises.geometry.units import METRIC, LengthUnit, Units
from school.sheets.typeset import qr_code

TEMPLATE = "school/build_sheet.typ"

COACH_DECIDES = (
    "Distances and heights are starting values from published tables: the coach "
    "measures and decides. Jumping can hurt. Local rules, the insurer's terms and "
    "the vet come first"
)


@dataclass(frozen=True, slots=True)
class TapePlace:
    """Where the row lies on its line, and how the tape is read.

    Parameters
    ----------
    words
        Where the tape begins, in words.
    zero_cm
        What it reads at the row's zero [cm].
    towards
        Whether the row is ridden towards the datum, so that the tape reads less
        from fence to fence.
    """

    words: str
    zero_cm: int = 0
    towards: bool = False

    def reads_cm(self, at_cm: int) -> int:
        """Return what the tape reads at a distance from the row's zero, in cm."""
        return self.zero_cm - at_cm if self.towards else self.zero_cm + at_cm


FROM_THE_FIRST = TapePlace("the take-off foot of the first element")
"""Without a line, the tape is read from the row itself."""


@dataclass(frozen=True, slots=True)
class Stage:
    """One step of building up, in words."""

    name: str
    words: str


@dataclass(frozen=True, slots=True)
class Overruled:
    """A verdict that was overruled, why and by whom."""

    says: str
    reason: str
    by: str


@dataclass(frozen=True, slots=True)
class SheetFence:
    """One line of the table of elements."""

    number: int
    what: str
    tape: str
    gap: str
    meaning: str
    height: str
    details: str


@dataclass(frozen=True, slots=True)
class BuildSheet:
    """Everything a build sheet shows."""

    title: str
    aim: str
    facts: tuple[tuple[str, str], ...]
    tape: str
    side: str
    plan: str
    fences: tuple[SheetFence, ...]
    bring: tuple[tuple[str, str], ...]
    stages: tuple[Stage, ...]
    looks: tuple[str, ...]
    overruled: tuple[Overruled, ...]
    cautions: tuple[str, ...]
    check: tuple[str, ...]
    address: str
    code: str
    made: str

    def as_data(self) -> dict[str, Any]:
        """Return the sheet as plain data for its template."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class SheetRow:
    """The row to be built.

    Parameters
    ----------
    elements
        As they stand at the beginning, in the order ridden [cm].
    also
        Elements of later stages: they need pieces too.
    meanings
        How each gap is meant, one for each element but the first.
    place
        Where it lies on its line.
    """

    elements: Sequence[Element]
    also: Sequence[Sequence[Element]] = ()
    meanings: Sequence[str] = ()
    place: TapePlace = FROM_THE_FIRST


def build_sheet(
    *,
    title: str,
    aim: str,
    facts: Iterable[tuple[str, str]],
    row: SheetRow,
    stages: Iterable[Stage],
    cautions: Iterable[str],
    address: str,
    made: str,
    looks: Iterable[str] = (),
    overruled: Iterable[Overruled] = (),
    local_bodies: str = "",
    units: Units = METRIC,
) -> BuildSheet:
    """Return a build sheet; `address` is the live page its code leads to."""
    every = [*row.elements, *(one for later in row.also for one in later)]
    return BuildSheet(
        title=title,
        aim=aim,
        facts=tuple((name, value) for name, value in facts if value),
        tape=_tape_words(row.place, units),
        side=draw_side(
            row.elements,
            ident="sheet-side",
            title=f"{title}, from the side",
            from_cm=row.place.zero_cm,
            towards=row.place.towards,
            letters_across=LETTERS_ON_PAPER,
            units=units,
        ),
        plan=draw_plan(
            row.elements,
            ident="sheet-plan",
            title=f"{title}, from above",
            letters_across=LETTERS_ON_PAPER,
            units=units,
        ),
        fences=tuple(_fences(row, units)),
        bring=tuple(_bring([row.elements, *row.also])),
        stages=tuple(stages),
        looks=tuple(looks),
        overruled=tuple(overruled),
        cautions=_cautions(cautions, local_bodies),
        check=tuple(check_before_the_first_horse(every)),
        address=address,
        code=qr_code(address),
        made=made,
    )


def check_before_the_first_horse(elements: Iterable[Element]) -> list[str]:
    """Return what is to be checked, as far as it concerns these elements.

    Common practice of those who build courses, without a source, but for the
    height at the centre of a fence (a blog on jump building).
    """
    every = list(elements)
    kinds = {one.kind for one in every}
    lines = any(one.ground_line is not GroundLine.NONE for one in every)
    fences = kinds & {Kind.CROSS, Kind.VERTICAL, Kind.OXER}
    return [
        "Every distance read back with the tape, all from the one end",
        *(["Heights read at the centre and at both ends"] if fences else []),
        *(
            ["Oxers: spread measured, back rail in safety cups, front never higher"]
            if Kind.OXER in kinds
            else []
        ),
        *(["Ground lines on the side the horse comes from"] if lines else []),
        *(
            [
                "Each pole falls when pushed from the approach side",
                "No cup without a pole; pins in, pointing away; cups counted",
            ]
            if fences
            else ["Poles on the ground lie fast: they do not roll underfoot"]
        ),
        "Nothing within 2 m of a landing; spare poles behind the rail",
        "Tape out of the arena, gate shut, no loose horse; one voice says clear",
    ]


def _tape_words(place: TapePlace, units: Units) -> str:
    tape = "feet and inches" if units.lengths is LengthUnit.FEET else "metres"
    if place is FROM_THE_FIRST:
        return f"Tape in {tape}, read from {place.words}."
    way = "towards" if place.towards else "away from"
    return f"Tape in {tape}, read from {place.words}; the row is ridden {way} it."


def _fences(row: SheetRow, units: Units) -> Iterable[SheetFence]:
    gaps = ["", *(b.at_cm - a.landing_cm for a, b in pairwise(row.elements))]
    meanings = ["", *row.meanings]
    for n, one in enumerate(row.elements):
        tape = units.short_length(row.place.reads_cm(one.at_cm))
        if one.spread_cm:
            tape += f" and {units.short_length(row.place.reads_cm(one.landing_cm))}"
        gap = gaps[n]
        yield SheetFence(
            number=n + 1,
            what=_name(one),
            tape=tape,
            gap=units.length(gap) if isinstance(gap, int) else "",
            meaning=meanings[n] if n < len(meanings) else "",
            height=units.height(one.height_cm) if one.height_cm else "ground",
            details=", ".join(_details(one, units)),
        )


def _name(one: Element) -> str:
    words = one.kind.value.replace("-", " ")
    return f"ascending {words}" if one.ascending else words


def _details(one: Element, units: Units) -> Iterable[str]:
    if one.spread_cm:
        yield f"spread {units.short(one.spread_cm)}"
    if one.front_rails > 1:
        yield f"{one.front_rails} rails"
    if one.ground_line is GroundLine.TAKE_OFF:
        yield "ground line in front"
    elif one.ground_line is GroundLine.BOTH:
        yield "ground lines on both sides"
    if one.guides:
        yield "two guide rails"


def _bring(stages: Sequence[Sequence[Element]]) -> Iterable[tuple[str, str]]:
    """Yield each kind of piece with the most that any stage needs."""
    most: Counter[Piece] = Counter()
    oxers = 0
    for elements in stages:
        count: Counter[Piece] = Counter()
        for one in elements:
            count += pieces(one)
        most |= count
        oxers = max(oxers, sum(one.kind is Kind.OXER for one in elements))
    for piece in Piece:
        if most[piece]:
            words = piece.value if most[piece] == 1 else f"{piece.value}s"
            if piece is Piece.CUP and oxers:
                words += f", {2 * oxers} of them safety cups"
            yield str(most[piece]), words
    yield "1", "tape and measuring stick"


def _cautions(of_exercise: Iterable[str], local_bodies: str) -> tuple[str, ...]:
    """Say each caution once; the check list already has the measuring."""
    bodies = f": {local_bodies.strip()}" if local_bodies.strip() else ""
    own = [one for one in of_exercise if "Check every distance" not in one]
    return (*dict.fromkeys(own), f"{COACH_DECIDES}{bodies}.")
