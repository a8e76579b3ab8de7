"""An exercise as data: what is built, and how each gap is meant."""

from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Annotated, Any, Literal, Protocol, TypeVar

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from exercises.geometry.elements import (
    FENCES,
    GROUND_LINE_CM,
    GUIDES_CM,
    Element,
    GroundLine,
    Kind,
    Side,
)

LONGEST_GAP_CM = 3500
"""Beyond this two fences are not related (33 m and more; a Spanish page)."""

SHORTEST_GAP_CM = 50
HIGHEST_CM = 160
WIDEST_CM = 200
"""Bounds of what a school builds [cm] (its own; spreads to 2.00 m in French sport)."""


class Gait(StrEnum):
    """The gait in which a row is approached."""

    TROT = "trot"
    CANTER = "canter"


class Gap(StrEnum):
    """How the distance before an element is meant."""

    BOUNCE = "bounce"
    ONE_STRIDE = "one-stride"
    TWO_STRIDES = "two-strides"
    THREE_STRIDES = "three-strides"
    FOUR_STRIDES = "four-strides"
    FIVE_STRIDES = "five-strides"
    TROT_POLES = "trot-poles"
    CANTER_POLES = "canter-poles"
    PLACING_TROT = "placing-trot"
    PLACING_CANTER = "placing-canter"
    LANDING = "landing"
    MID_STRIDE_LANDING = "mid-stride-landing"
    MID_STRIDE_TAKE_OFF = "mid-stride-take-off"
    MEASURE = "measure"


STRIDES = {
    Gap.ONE_STRIDE: 1,
    Gap.TWO_STRIDES: 2,
    Gap.THREE_STRIDES: 3,
    Gap.FOUR_STRIDES: 4,
    Gap.FIVE_STRIDES: 5,
}
"""Strides between the two elements of such a gap."""


LevelName = Literal["novice", "intermediate", "advanced"]


class InvalidExercise(ValueError):
    """Data that is no exercise: names the place and what is wrong."""

    def __init__(self, place: str, says: str) -> None:
        super().__init__(f"{place}: {says}" if place else says)
        self.place = place
        self.says = says


class _Data(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    @field_validator("*", mode="before")
    @classmethod
    def _lists_are_tuples(cls, value: Any) -> Any:
        return tuple(value) if isinstance(value, list) else value


class SpecElement(_Data):
    """An element, and how the gap before it is meant (none before the first).

    `by_cm` builds that gap so much longer, or shorter, than its fit proposes: the
    meaning stays, and so does what each horse wants.
    """

    kind: Kind
    height_cm: Annotated[int, Field(ge=0, le=HIGHEST_CM)] = 0
    spread_cm: Annotated[int, Field(ge=0, le=WIDEST_CM)] = 0
    rails: Annotated[int, Field(ge=1, le=6)] | None = None
    ground_line: GroundLine = GroundLine.NONE
    guides: bool = False
    ascending: bool = False
    ground_line_cm: int = GROUND_LINE_CM
    guides_cm: int = GUIDES_CM
    v_poles_cm: int = 0
    leaning: Side | None = None
    gap: Gap | None = None
    gap_cm: Annotated[int, Field(ge=SHORTEST_GAP_CM, le=LONGEST_GAP_CM)] | None = None
    by_cm: Annotated[int, Field(ge=-200, le=200, multiple_of=5)] = 0

    @model_validator(mode="after")
    def _can_be_built(self) -> "SpecElement":
        self.element(0)
        if self.by_cm and self.gap in {None, Gap.MEASURE}:
            raise ValueError("by_cm changes a distance that is fitted to horses")
        if (self.gap is Gap.MEASURE) != (self.gap_cm is not None):
            raise ValueError("gap_cm goes with gap = measure, and only with it")
        return self

    def element(self, at_cm: int) -> Element:
        """Return the element at a place of the row, in centimetres."""
        return Element(
            kind=self.kind,
            at_cm=at_cm,
            height_cm=self.height_cm,
            spread_cm=self.spread_cm,
            rails=self.rails,
            ground_line=self.ground_line,
            guides=self.guides,
            ascending=self.ascending,
            ground_line_cm=self.ground_line_cm,
            guides_cm=self.guides_cm,
            v_poles_cm=self.v_poles_cm,
            leaning=self.leaning,
        )


AnElement = TypeVar("AnElement", bound=SpecElement)


class Alter(Protocol):
    """What makes another element of one, of a start or of a stage alike."""

    def __call__(self, one: AnElement, /) -> AnElement:
        """Return the altered element."""
        ...


class Change(SpecElement):
    """What an element becomes in a stage, or an element that is added.

    `of` names the slot that changes and stays at its place: elements of the
    start are counted from 0, added ones go on from there in the order they are
    named. Without `of` it is added, with its gap, `after` a slot.
    """

    of: Annotated[int, Field(ge=0)] | None = None
    after: Annotated[int, Field(ge=0)] | None = None

    @model_validator(mode="after")
    def _stands_somewhere(self) -> "Change":
        if (self.of is None) == (self.after is None):
            raise ValueError("give `of` what it was, or `after` what it was added")
        if self.after is not None and self.gap is None:
            raise ValueError("an added element needs a gap")
        return self


class FirstStage(_Data):
    """The row as it is built before the lesson: its words, and how often ridden."""

    says: Annotated[str, Field(min_length=3, max_length=120)] = "As built"
    passes: Annotated[int, Field(ge=1, le=6)] = 3


class Stage(FirstStage):
    """One step of building up: what changes, and how often it is then ridden.

    `out` names slots that are taken away. A stage changes one thing; where it
    changes more, `together` says why.
    """

    says: Annotated[str, Field(min_length=3, max_length=120)]
    changes: tuple[Change, ...] = ()
    out: tuple[int, ...] = ()
    together: Annotated[str, Field(max_length=200)] = ""

    @model_validator(mode="after")
    def _changes_something(self) -> "Stage":
        if not self.changes and not self.out:
            raise ValueError("a stage changes something or takes something out")
        return self


Slots = dict[int, SpecElement]
"""What stands in a stage, by its slot."""


class ExerciseSpec(_Data):
    """An exercise: aim, elements, meaning of each gap, and how it is built up.

    `elements` is the row as built before the lesson, its first stage; `stages`
    are the further ones. `level` is the riders', `horse_level` the horses'
    where it differs.
    """

    slug: Annotated[str, Field(pattern=r"^[a-z0-9-]{3,60}$")]
    name: Annotated[str, Field(min_length=3, max_length=120)]
    aim: Annotated[str, Field(min_length=3, max_length=400)]
    faults: tuple[str, ...] = ()
    level: LevelName
    horse_level: LevelName | None = None
    approach: Gait
    elements: Annotated[tuple[SpecElement, ...], Field(min_length=1, max_length=14)]
    start: FirstStage = FirstStage()
    stages: Annotated[tuple[Stage, ...], Field(max_length=14)] = ()
    both_ways: bool = False
    approach_cm: Annotated[int, Field(ge=0, le=3000)] = 700
    runout_cm: Annotated[int, Field(ge=0, le=3000)] = 700
    cautions: tuple[str, ...] = ()
    source: Annotated[str, Field(min_length=3, max_length=300)]
    grade: Literal["a", "b", "c", "own"]

    @model_validator(mode="after")
    def _gaps_make_sense(self) -> "ExerciseSpec":
        first, *others = self.elements
        if first.gap is not None:
            raise ValueError("elements[0].gap: the first element has no gap before it")
        for n, one in enumerate(others, start=1):
            if one.gap is None:
                raise ValueError(f"elements[{n}].gap: is missing")
            if one.gap is Gap.MID_STRIDE_LANDING and (
                n + 1 == len(self.elements)
                or self.elements[n + 1].gap is not Gap.MID_STRIDE_TAKE_OFF
            ):
                raise ValueError(
                    f"elements[{n}].gap: a mid-stride element needs a fence after it"
                )
            if (
                one.gap is Gap.MID_STRIDE_TAKE_OFF
                and self.elements[n - 1].gap is not Gap.MID_STRIDE_LANDING
            ):
                raise ValueError(
                    f"elements[{n}].gap: needs a mid-stride element before it"
                )
        self._play()
        return self

    def _play(self) -> tuple[Slots, ...]:
        """Return what stands in each stage; refuse a stage of what is not there."""
        standing = dict(enumerate(self.elements))
        known = len(standing)
        played = [standing]
        for n, stage in enumerate(self.stages):
            standing = dict(standing)
            for gone in stage.out:
                if standing.pop(gone, None) is None:
                    raise ValueError(f"stages[{n}].out: element {gone} does not stand")
            for m, one in enumerate(stage.changes):
                at = one.of if one.of is not None else one.after
                if at is not None and at >= known:
                    raise ValueError(
                        f"stages[{n}].changes[{m}]: there is no element {at}"
                    )
                standing[known if one.of is None else one.of] = one
                known += one.of is None
            if not standing:
                raise ValueError(f"stages[{n}]: nothing would stand")
            played.append(standing)
        return tuple(played)

    @property
    def played(self) -> tuple[Slots, ...]:
        """What stands in each stage by slot, the start first."""
        return self._play()

    def altered(self, alter: Alter) -> "ExerciseSpec":
        """Return the exercise with every element, in every stage, altered alike."""
        return self.model_copy(
            update={
                "elements": tuple(alter(one) for one in self.elements),
                "stages": tuple(
                    stage.model_copy(
                        update={"changes": tuple(alter(one) for one in stage.changes)}
                    )
                    for stage in self.stages
                ),
            }
        )

    @property
    def every_element(self) -> tuple[SpecElement, ...]:
        """The elements of all stages, as they stand in each."""
        return tuple(one for stage in self.played for one in stage.values())

    @property
    def meant(self) -> tuple[SpecElement, ...]:
        """Each slot of the start as its distances are meant for it.

        A slot that becomes a fence counts as it first is one, since the tape is
        not read again when poles grow into fences; any other as it ends.
        """
        played = self.played
        return tuple(
            next(
                (
                    stage[slot]
                    for stage in played
                    if slot in stage and stage[slot].kind in FENCES
                ),
                next(stage[slot] for stage in reversed(played) if slot in stage),
            )
            for slot in range(len(self.elements))
        )

    @property
    def highest_cm(self) -> int:
        """Height of the highest element in any stage, in cm."""
        return max(one.height_cm for one in self.every_element)

    @property
    def fences(self) -> int:
        """How many fences are jumped, in the stage that has most."""
        return max(
            sum(one.kind in FENCES for one in stage.values()) for stage in self.played
        )


def read_spec(data: Mapping[str, Any]) -> ExerciseSpec:
    """Read an exercise from data.

    Raises
    ------
    InvalidExercise
        Names the place, `elements[2].height_cm` say, and what is wrong.
    """
    try:
        return ExerciseSpec.model_validate(_with_stages(data))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ""
        for part in first["loc"]:
            if isinstance(part, int):
                place += f"[{part}]"
            else:
                place += f".{part}" if place else part
        says = first["msg"].removeprefix("Value error, ")
        raise InvalidExercise(place, says[0].lower() + says[1:]) from error


def _with_stages(data: Mapping[str, Any]) -> Mapping[str, Any]:
    """Read an `end`, which rows had before stages, as one stage."""
    if "end" not in data:
        return data
    new = {key: value for key, value in data.items() if key != "end"}
    end, elements = data["end"], data.get("elements", ())
    if not all(
        isinstance(many, list | tuple) and all(isinstance(one, Mapping) for one in many)
        for many in (end, elements)
    ):
        return data
    stays = {one.get("of") for one in end}
    changes = [one for one in end if not _is_as_it_was(one, elements)]
    out = [n for n in range(len(elements)) if n not in stays]
    if end and (changes or out):
        stage = {"says": "As it ends", "changes": changes, "out": out}
        new["stages"] = [*new.get("stages", ()), stage]
    return new


def _is_as_it_was(one: Mapping[str, Any], elements: Sequence[Any]) -> bool:
    of = one.get("of")
    if not isinstance(of, int) or not 0 <= of < len(elements):
        return False
    gaps = {"gap", "gap_cm", "of"}
    was = {key: value for key, value in elements[of].items() if key not in gaps}
    return was == {key: value for key, value in one.items() if key not in gaps}


def spec_as_data(spec: ExerciseSpec) -> dict[str, Any]:
    """Write an exercise as data that reads back the same."""
    return spec.model_dump(mode="json", exclude_defaults=True)
