"""The shape of a day file: its keys, their types and defaults."""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from exercises.geometry.elements import GroundLine, Kind, Piece

LONGEST_CM = 100_000
LATEST_MIN = 24 * 60
MOST = 1_000

Id = Annotated[str, Field(min_length=1, max_length=100)]
Clock = Annotated[str, Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$|^24:00$")]
Centimetres = Annotated[int, Field(ge=0, le=LONGEST_CM)]
SignedCentimetres = Annotated[int, Field(ge=-LONGEST_CM, le=LONGEST_CM)]
Minutes = Annotated[int, Field(ge=0, le=LATEST_MIN)]
Seconds = Annotated[int, Field(ge=0, le=86_400)]
Ids = Annotated[list[Id], Field(max_length=MOST)]


class Shape(BaseModel):
    """Strict: no unknown keys, no types bent into others."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class ElementShape(Shape):
    """An element of a row."""

    kind: Annotated[Kind, Field(strict=False)]
    at_cm: SignedCentimetres
    height_cm: Annotated[int, Field(ge=0, le=300)] = 0
    spread_cm: Annotated[int, Field(ge=0, le=500)] = 0
    rails: Annotated[int, Field(ge=1, le=10)] | None = None
    ground_line: Annotated[GroundLine, Field(strict=False)] = GroundLine.NONE
    guides: bool = False
    ascending: bool = False


class PlacedShape(ElementShape):
    """An element that stands on a line."""

    faces: Literal["up", "down"] = "up"


class GridShape(Shape):
    """A lesson's grid."""

    start: Annotated[list[ElementShape], Field(min_length=1, max_length=30)]
    end: Annotated[list[ElementShape], Field(max_length=30)] | None = None
    approach_cm: Centimetres = 0
    runout_cm: Centimetres = 0
    may_mirror: bool = False


class BookedShape(Shape):
    """Where a lesson was booked."""

    start: Clock
    arena: Id


class FixedPlaceShape(Shape):
    """Where a row stands, and may only stand."""

    line: Id
    offset_cm: SignedCentimetres
    mirrored: bool = False


class LessonShape(Shape):
    """A lesson."""

    id: Id
    minutes: Annotated[int, Field(ge=1, le=LATEST_MIN)]
    arenas: Annotated[list[Id], Field(min_length=1, max_length=MOST)]
    not_before: Clock
    not_after: Clock
    booked: BookedShape | None = None
    people: Ids = []
    horses: Ids = []
    warm_up_min: Minutes = 0
    cool_down_min: Minutes = 0
    grid: GridShape | None = None
    needs_clear: bool = False
    place: FixedPlaceShape | None = None


class HorseShape(Shape):
    """A horse's limits."""

    id: Id
    rest_min: Minutes = 0
    max_lessons: Annotated[int, Field(ge=0, le=100)] | None = None
    max_minutes: Minutes | None = None


class LineShape(Shape):
    """A line of an arena."""

    id: Id
    length_cm: Annotated[int, Field(ge=1, le=LONGEST_CM)]
    standing: Annotated[list[PlacedShape], Field(max_length=60)] = []


class ArenaShape(Shape):
    """An arena."""

    id: Id
    length_cm: Annotated[int, Field(ge=1, le=LONGEST_CM)]
    lines: Annotated[list[LineShape], Field(max_length=20)] = []


class WeightsShape(Shape):
    """What moving a lesson weighs, in seconds of reset."""

    moved_start_s: Seconds = 30
    moved_arena_s: Seconds = 10


class DayShape(Shape):
    """The whole day file."""

    version: Literal[1]
    date: Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$")]
    zone: Id
    opens: Clock
    closes: Clock
    start_every_min: Annotated[int, Field(ge=1, le=LATEST_MIN)] = 15
    place_every_cm: Annotated[int, Field(ge=1, le=1_000)] = 5
    crew: Annotated[int, Field(ge=0, le=50)] = 1
    crew_from: Clock | None = None
    crew_to: Clock | None = None
    handling: Annotated[dict[str, Any], Field(max_length=50)] = {}
    stock: Annotated[
        dict[str, Annotated[int, Field(ge=0, le=100_000)]], Field(max_length=50)
    ] = {}
    weights: WeightsShape = WeightsShape()
    arenas: Annotated[list[ArenaShape], Field(max_length=100)]
    horses: Annotated[list[HorseShape], Field(max_length=MOST)] = []
    lessons: Annotated[list[LessonShape], Field(max_length=MOST)]


PIECES = tuple(piece.value for piece in Piece)
