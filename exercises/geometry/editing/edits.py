"""The changes that can be made to an exercise, each a value that is kept as data.

An edit says what shall be; `apply` of this package makes it so, and `describe` says
it. Elements are counted from 0, in the order ridden. Lengths are whole centimetres.

An edit of one element holds from a stage on (0 is the row as built; one beyond the
last makes a new stage of it). What the later stages had in common with that stage
follows. Elements that a stage adds are counted on from those of the start.
"""

from dataclasses import dataclass, field
from typing import Any, Literal

from pydantic import BaseModel, Field

from exercises.geometry.elements import GroundLine, Kind, Side
from exercises.geometry.spec import Gait, Gap

Level = Literal["novice", "intermediate", "advanced"]


class UnableToEdit(ValueError):
    """A change that is refused: a code, words that say what to do, and its fields."""

    def __init__(self, code: str, says: str, **fields: Any) -> None:
        super().__init__(says)
        self.code = code
        self.says = says
        self.fields = fields


@dataclass(frozen=True, slots=True)
class AddElement:
    """Put a new element at a place; those from there on move one on.

    `gap` is how the distance before it is meant and `then` the one after it; what
    is left out takes the usual for the kinds on either side.
    """

    at: int
    kind: Kind
    height_cm: int | None = None
    spread_cm: int | None = None
    gap: Gap | None = None
    gap_cm: int | None = None
    then: Gap | None = None
    then_cm: int | None = None
    do: Literal["add"] = field(default="add", kw_only=True)


@dataclass(frozen=True, slots=True)
class RemoveElement:
    """Take an element out; what stands on either side of it stays where it is."""

    at: int
    do: Literal["remove"] = field(default="remove", kw_only=True)


@dataclass(frozen=True, slots=True)
class MoveElement:
    """Take an element to another place of the order."""

    at: int
    to: int
    do: Literal["move"] = field(default="move", kw_only=True)


@dataclass(frozen=True, slots=True)
class TurnRound:
    """Turn the row round, for riding it from its other end."""

    do: Literal["turn"] = field(default="turn", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetKind:
    """Build something else at an element's place."""

    at: int
    kind: Kind
    stage: int = 0
    do: Literal["kind"] = field(default="kind", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetHeight:
    """Set the height of an element's top rail."""

    at: int
    height_cm: int
    stage: int = 0
    do: Literal["height"] = field(default="height", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetSpread:
    """Set how wide an oxer is."""

    at: int
    spread_cm: int
    stage: int = 0
    do: Literal["spread"] = field(default="spread", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetAscending:
    """Set an oxer's front lower than its back, or both level."""

    at: int
    ascending: bool
    stage: int = 0
    do: Literal["ascending"] = field(default="ascending", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetRails:
    """Set the rails of a vertical or an oxer's front; None is usual for the height."""

    at: int
    rails: int | None
    stage: int = 0
    do: Literal["rails"] = field(default="rails", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetGroundLine:
    """Lay or take away ground lines."""

    at: int
    ground_line: GroundLine
    stage: int = 0
    do: Literal["ground-line"] = field(default="ground-line", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetGuides:
    """Lay or take away the guide rails that lead to an element."""

    at: int
    guides: bool
    stage: int = 0
    do: Literal["guides"] = field(default="guides", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetGroundLineOut:
    """Lay an element's ground line so far from it."""

    at: int
    out_cm: int
    stage: int = 0
    do: Literal["ground-line-out"] = field(default="ground-line-out", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetGuidesApart:
    """Set an element's guide rails so far apart."""

    at: int
    apart_cm: int
    stage: int = 0
    do: Literal["guides-apart"] = field(default="guides-apart", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetVPoles:
    """Rest a pair of poles on a fence, their feet so far apart; 0 takes them away."""

    at: int
    apart_cm: int
    stage: int = 0
    do: Literal["v-poles"] = field(default="v-poles", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetLeaning:
    """Lean one pole on a side of a fence, as ridden; None takes it away."""

    at: int
    leaning: Side | None
    stage: int = 0
    do: Literal["leaning"] = field(default="leaning", kw_only=True)


@dataclass(frozen=True, slots=True)
class ShiftGap:
    """Build the gap before an element so much longer than its fit; shorter below 0.

    Its meaning stays. A measure has no fit and takes another length instead.
    """

    before: int
    by_cm: int
    do: Literal["shift"] = field(default="shift", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetGap:
    """Say how the distance before an element is meant; a measure has its length."""

    before: int
    gap: Gap
    gap_cm: int | None = None
    do: Literal["gap"] = field(default="gap", kw_only=True)


@dataclass(frozen=True, slots=True)
class RemoveStage:
    """Leave a stage out, with what it changes; counted from 1."""

    stage: int
    do: Literal["remove-stage"] = field(default="remove-stage", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetPasses:
    """Say how often a stage is ridden; 0 is the row as built."""

    stage: int
    passes: int
    do: Literal["passes"] = field(default="passes", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetApproach:
    """Set the gait in which the row is ridden into."""

    approach: Gait
    do: Literal["approach"] = field(default="approach", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetBothWays:
    """Say whether the row is meant to be ridden from either end."""

    both_ways: bool
    do: Literal["both-ways"] = field(default="both-ways", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetLevel:
    """Say for what level of rider and horse the exercise is."""

    level: Level
    do: Literal["level"] = field(default="level", kw_only=True)


@dataclass(frozen=True, slots=True)
class SetName:
    """Give the exercise another name and say what it is for."""

    name: str
    aim: str
    do: Literal["name"] = field(default="name", kw_only=True)


ElementEdit = (
    SetKind
    | SetHeight
    | SetSpread
    | SetAscending
    | SetRails
    | SetGroundLine
    | SetGuides
    | SetGroundLineOut
    | SetGuidesApart
    | SetVPoles
    | SetLeaning
)
"""Edits of one element at its place."""

Edit = (
    AddElement
    | RemoveElement
    | MoveElement
    | TurnRound
    | ElementEdit
    | SetGap
    | ShiftGap
    | RemoveStage
    | SetPasses
    | SetApproach
    | SetBothWays
    | SetLevel
    | SetName
)
"""Any change of an exercise."""


class _Kept(BaseModel):
    edit: Edit = Field(discriminator="do")


def edit_from_data(data: Any) -> Edit:
    """Read an edit from data, `{"do": "height", "at": 1, "height_cm": 60}` say.

    Raises
    ------
    UnableToEdit
        With code `no-edit`, where it is none.
    """
    try:
        return _Kept.model_validate({"edit": data}).edit
    except ValueError as error:
        raise UnableToEdit(
            "no-edit", "That change is not understood: load the page again."
        ) from error


def edit_as_data(edit: Edit) -> dict[str, Any]:
    """Write an edit as data that reads back the same."""
    data: dict[str, Any] = _Kept(edit=edit).model_dump(
        mode="json", exclude_defaults=True
    )["edit"]
    return {"do": edit.do, **data}
