"""Reads a day file into checked values, or refuses it in one line with the place."""

import itertools
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from exercises.geometry.data import element_as_data
from exercises.geometry.elements import Element, InvalidElement, Piece
from scheduling.changeover.effort import InvalidHandling, handling_from
from scheduling.changeover.setups import Faces, GridRow, Place, PlacedElement, Setup
from scheduling.dayplan.day import (
    Booked,
    Day,
    DayArena,
    DayHorse,
    DayLesson,
    DayLine,
    FixedPlace,
    minutes_at,
)
from scheduling.dayplan.measure import too_large
from scheduling.dayplan.shape import (
    PIECES,
    ArenaShape,
    DayShape,
    ElementShape,
    GridShape,
    LessonShape,
    PlacedShape,
)


class InvalidDay(ValueError):
    """A day file that is refused: the place, and what is wrong there."""

    def __init__(self, place: str, says: str) -> None:
        super().__init__(f"{place}: {says}" if place else says)
        self.place = place
        self.says = says


def read_day(document: object) -> Day:
    """Read a day file, version 1 of its contract.

    Raises
    ------
    InvalidDay
        At the first unknown key, wrong type or broken reference.
    """
    if not isinstance(document, Mapping):
        raise InvalidDay("", "the day file must be one JSON object")
    try:
        shape = DayShape.model_validate(document)
    except ValidationError as error:
        raise _refusal(error.errors(include_url=False)[0]) from error
    day = _checked(shape)
    beyond = too_large(day)
    if beyond is not None:
        raise InvalidDay(*beyond)
    return day


def _refusal(error: ErrorDetails) -> InvalidDay:
    says = {
        "missing": "is missing",
        "extra_forbidden": "unknown key",
        "int_type": "must be a whole number",
        "int_from_float": "must be a whole number",
        "bool_type": "must be true or false",
        "string_type": "must be a text",
        "list_type": "must be a list",
        "model_type": "must be an object",
        "dict_type": "must be an object",
        "string_pattern_mismatch": "does not look like one; times are HH:MM, "
        "dates YYYY-MM-DD",
    }.get(error["type"])
    if says is None:
        message = error["msg"].replace("Input should be", "must be")
        says = message[0].lower() + message[1:]
    return InvalidDay(_place(error["loc"]), says)


def _place(parts: Iterable[int | str]) -> str:
    """Write a place as `lessons[3].grid.start[1].kind`."""
    place = ""
    for part in parts:
        if isinstance(part, int):
            place += f"[{part}]"
        else:
            text = part if len(part) <= 60 else part[:60] + "…"
            place += f".{text}" if place else text
    return place


def _checked(shape: DayShape) -> Day:
    try:
        date.fromisoformat(shape.date)
    except ValueError as error:
        raise InvalidDay("date", f"{shape.date} is no day") from error
    try:
        ZoneInfo(shape.zone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise InvalidDay("zone", f"{shape.zone[:60]!r} is no time zone") from error
    opens, closes = minutes_at(shape.opens), minutes_at(shape.closes)
    if opens >= closes:
        raise InvalidDay("closes", "must come after opens")
    crew_from = minutes_at(shape.crew_from) if shape.crew_from else max(0, opens - 60)
    crew_to = minutes_at(shape.crew_to) if shape.crew_to else closes
    if crew_from > crew_to:
        raise InvalidDay("crew_to", "must not come before crew_from")
    try:
        handling = handling_from(shape.handling)
    except InvalidHandling as error:
        place = _place(["handling", *error.place.split(".")])
        raise InvalidDay(place, error.says) from error
    for piece in shape.stock:
        if piece not in PIECES:
            raise InvalidDay(
                f"stock.{piece[:60]}", f"no such piece; known are {', '.join(PIECES)}"
            )
    _once("arenas", [one.id for one in shape.arenas])
    _once("horses", [one.id for one in shape.horses])
    _once("lessons", [one.id for one in shape.lessons])
    arenas = tuple(_arena(n, one) for n, one in enumerate(shape.arenas))
    known = {one.id: one for one in arenas}
    horses = {
        one.id: DayHorse(one.id, one.rest_min, one.max_lessons, one.max_minutes)
        for one in shape.horses
    }
    return Day(
        date=shape.date,
        zone=shape.zone,
        opens_min=opens,
        closes_min=closes,
        start_every_min=shape.start_every_min,
        place_every_cm=shape.place_every_cm,
        crew=shape.crew,
        crew_from_min=crew_from,
        crew_to_min=crew_to,
        handling=handling,
        stock={Piece(piece): count for piece, count in shape.stock.items()},
        moved_start_s=shape.weights.moved_start_s,
        moved_arena_s=shape.weights.moved_arena_s,
        arenas=arenas,
        horses=horses,
        lessons=tuple(
            _lesson(f"lessons[{n}]", one, known, horses, shape.place_every_cm)
            for n, one in enumerate(shape.lessons)
        ),
    )


def _once(place: str, ids: list[str]) -> None:
    seen: set[str] = set()
    for n, one in enumerate(ids):
        if one in seen:
            raise InvalidDay(f"{place}[{n}].id", f"{one!r} is there twice")
        seen.add(one)


def _arena(n: int, shape: ArenaShape) -> DayArena:
    place = f"arenas[{n}]"
    _once(f"{place}.lines", [one.id for one in shape.lines])
    lines = []
    for k, line in enumerate(shape.lines):
        if line.length_cm > shape.length_cm:
            raise InvalidDay(
                f"{place}.lines[{k}].length_cm", "the line is longer than its arena"
            )
        standing = []
        for e, one in enumerate(line.standing):
            spot = f"{place}.lines[{k}].standing[{e}]"
            placed = PlacedElement(_element(spot, one), Faces(one.faces))
            if placed.at_cm < 0 or placed.far_cm > line.length_cm:
                raise InvalidDay(f"{spot}.at_cm", "stands beyond the line's ends")
            standing.append(placed)
        ordered: Setup = tuple(sorted(standing, key=lambda p: (p.at_cm, p.far_cm)))
        lines.append(DayLine(line.id, line.length_cm, ordered))
    return DayArena(shape.id, shape.length_cm, tuple(lines))


def _element(place: str, shape: ElementShape) -> Element:
    try:
        return Element(
            kind=shape.kind,
            at_cm=shape.at_cm,
            height_cm=shape.height_cm,
            spread_cm=shape.spread_cm,
            rails=shape.rails,
            ground_line=shape.ground_line,
            guides=shape.guides,
            ascending=shape.ascending,
        )
    except InvalidElement as error:
        raise InvalidDay(f"{place}.{error.field}", error.says) from error


def _grid(place: str, shape: GridShape) -> GridRow:
    start = _row(f"{place}.start", shape.start)
    if start[0].at_cm != 0:
        raise InvalidDay(f"{place}.start[0].at_cm", "a row's first element is at 0")
    end = start if shape.end is None else _row(f"{place}.end", shape.end)
    return GridRow(start, end, shape.approach_cm, shape.runout_cm, shape.may_mirror)


def _row(place: str, shapes: list[ElementShape]) -> tuple[Element, ...]:
    row = tuple(_element(f"{place}[{n}]", one) for n, one in enumerate(shapes))
    for n, (before, one) in enumerate(itertools.pairwise(row), start=1):
        if one.at_cm < before.landing_cm:
            raise InvalidDay(
                f"{place}[{n}].at_cm",
                "elements stand in order, each after the landing foot of the last",
            )
    return row


def _lesson(
    place: str,
    shape: LessonShape,
    arenas: Mapping[str, DayArena],
    horses: Mapping[str, DayHorse],
    every_cm: int,
) -> DayLesson:
    for n, arena in enumerate(shape.arenas):
        if arena not in arenas:
            raise InvalidDay(f"{place}.arenas[{n}]", f"no arena {arena!r}")
    for n, horse in enumerate(shape.horses):
        if horse not in horses:
            raise InvalidDay(f"{place}.horses[{n}]", f"no horse {horse!r}")
    for key in ("arenas", "people", "horses"):
        values = getattr(shape, key)
        for n, one in enumerate(values):
            if one in values[:n]:
                raise InvalidDay(f"{place}.{key}[{n}]", f"{one!r} is there twice")
    not_before, not_after = minutes_at(shape.not_before), minutes_at(shape.not_after)
    if not_before > not_after:
        raise InvalidDay(f"{place}.not_after", "must not come before not_before")
    booked = None
    if shape.booked is not None:
        if shape.booked.arena not in arenas:
            raise InvalidDay(
                f"{place}.booked.arena", f"no arena {shape.booked.arena!r}"
            )
        booked = Booked(minutes_at(shape.booked.start), shape.booked.arena)
    if shape.grid is not None and shape.needs_clear:
        raise InvalidDay(
            f"{place}.needs_clear", "a lesson with a grid can't need a clear arena"
        )
    if shape.warm_up_min + shape.cool_down_min > shape.minutes:
        raise InvalidDay(
            f"{place}.cool_down_min", "warm-up and cool-down exceed the lesson"
        )
    fixed = None
    if shape.place is not None:
        fixed = _fixed_place(f"{place}.place", shape, every_cm)
    return DayLesson(
        id=shape.id,
        minutes=shape.minutes,
        arenas=tuple(shape.arenas),
        not_before_min=not_before,
        not_after_min=not_after,
        booked=booked,
        people=tuple(shape.people),
        horses=tuple(shape.horses),
        warm_up_min=shape.warm_up_min,
        cool_down_min=shape.cool_down_min,
        grid=_grid(f"{place}.grid", shape.grid) if shape.grid else None,
        needs_clear=shape.needs_clear,
        place=fixed,
    )


def _fixed_place(place: str, shape: LessonShape, every_cm: int) -> FixedPlace:
    if shape.grid is None or shape.place is None:
        raise InvalidDay(place, "only a lesson with a grid has a place on a line")
    if shape.place.mirrored and not shape.grid.may_mirror:
        raise InvalidDay(f"{place}.mirrored", "this row may not be mirrored")
    if shape.place.offset_cm % every_cm:
        raise InvalidDay(
            f"{place}.offset_cm", f"must be a multiple of place_every_cm ({every_cm})"
        )
    return FixedPlace(
        shape.place.line, Place(shape.place.offset_cm, shape.place.mirrored)
    )


def placed_as_data(one: PlacedElement) -> dict[str, Any]:
    """Write a placed element with the keys of the contract."""
    return element_as_data(one.element) | {"faces": one.faces.value}


def placed_from_data(data: Mapping[str, Any]) -> PlacedElement:
    """Read a placed element as `placed_as_data` writes it.

    Raises
    ------
    ValueError
        For a key, a type or a value that the contract does not know.
    """
    shape = PlacedShape.model_validate(data)
    return PlacedElement(_element("element", shape), Faces(shape.faces))
