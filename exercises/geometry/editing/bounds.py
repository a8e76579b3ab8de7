"""What is refused before it is built, in words that say what to do."""

from exercises.geometry.editing.edits import UnableToEdit
from exercises.geometry.editing.gaps import suits
from exercises.geometry.editing.kinds import name_of, ordinal
from exercises.geometry.elements import FLAT, Kind
from exercises.geometry.spec import (
    HIGHEST_CM,
    LONGEST_GAP_CM,
    SHORTEST_GAP_CM,
    WIDEST_CM,
    ExerciseSpec,
    Gap,
    SpecElement,
)


def element_at(spec: ExerciseSpec, at: int) -> SpecElement:
    """Return an element.

    Raises
    ------
    UnableToEdit
        With code `no-element`, where there is none.
    """
    if not 0 <= at < len(spec.elements):
        raise UnableToEdit(
            "no-element",
            f"There is no element {at + 1}: the row has {len(spec.elements)}. "
            "Load the page again.",
            at=at,
        )
    return spec.elements[at]


def standing(spec: ExerciseSpec, slot: int, stage: int) -> SpecElement:
    """Return what stands at a slot in a stage; beyond the last, in the last.

    Raises
    ------
    UnableToEdit
        With code `no-stage`, `no-element`, or `not-standing` in that stage.
    """
    played = spec.played
    if not 0 <= stage <= len(played):
        raise UnableToEdit(
            "no-stage",
            f"There is no stage {stage}: the grid has {len(played) - 1} after it is "
            "built. Load the page again.",
        )
    if stage == 0:
        return element_at(spec, slot)
    if all(slot not in one for one in played):
        element_at(spec, slot)
    one = played[min(stage, len(played) - 1)].get(slot)
    if one is None:
        raise UnableToEdit(
            "not-standing",
            f"The {ordinal(slot)} element does not stand in that stage: change it "
            "where it stands.",
            at=slot,
        )
    return one


def slot_name(spec: ExerciseSpec, slot: int, stage: int) -> str:
    """Name what stands at a slot of a stage by its place among its like there."""
    played = spec.played[min(stage, len(spec.stages))]
    slots = sorted(played)
    return name_of([played[one] for one in slots], slots.index(slot))


def check_gap_cm(gap_cm: int | None, at: int) -> None:
    """Refuse a measure between two elements that cannot be meant.

    Raises
    ------
    UnableToEdit
        With code `no-measure`, `gap-too-short` or `gap-too-long`.
    """
    which = f"the gap before the {ordinal(at)} element"
    if gap_cm is None:
        raise UnableToEdit("no-measure", f"Write how long {which} is, 6.20 m say.")
    if gap_cm < SHORTEST_GAP_CM:
        raise UnableToEdit(
            "gap-too-short",
            f"{gap_cm / 100:.2f} m is too short for {which}: make it "
            f"{SHORTEST_GAP_CM / 100:.2f} m or more, or take one of the two out.",
            at=at,
            gap_cm=gap_cm,
        )
    if gap_cm > LONGEST_GAP_CM:
        raise UnableToEdit(
            "gap-too-long",
            f"{gap_cm / 100:.2f} m is too long for {which}: beyond "
            f"{LONGEST_GAP_CM / 100:.0f} m two fences are not related. Make it "
            "shorter, or make two grids of it.",
            at=at,
            gap_cm=gap_cm,
        )


def check_gap(before: Kind, after: Kind, gap: Gap, gap_cm: int | None, at: int) -> None:
    """Refuse a meaning or a measure that can't be between two kinds.

    Raises
    ------
    UnableToEdit
        With code `gap-unsuited`, or of a measure.
    """
    if gap is Gap.MEASURE:
        check_gap_cm(gap_cm, at)
    if not suits(gap, before, after):
        raise UnableToEdit(
            "gap-unsuited",
            f"Between a {_words(before)} and a {_words(after)} a gap can't be "
            f"meant as {_words(gap)}: choose another, or a measure.",
            at=at,
        )


def only(name: str, one: SpecElement, what: str, done: str) -> UnableToEdit:
    """Return the refusal of what only another kind can have."""
    return UnableToEdit(
        "other-kind",
        f"The {name} is a {one.kind.value.replace('-', ' ')}: only {what} can be "
        f"{done}. Change what it is first.",
    )


def check_height(one: SpecElement, height_cm: int, name: str) -> None:
    """Refuse a height that the element can't have [cm].

    Raises
    ------
    UnableToEdit
        With code `other-kind`, `too-low` or `too-high`.
    """
    if one.kind in FLAT:
        if height_cm:
            raise only(name, one, "a raised pole or a fence", "given a height")
        return
    if height_cm < 1:
        raise UnableToEdit(
            "too-low",
            f"The {name} needs a height above 0: to lay it on the ground, make it a "
            "pole.",
        )
    if height_cm > HIGHEST_CM:
        raise UnableToEdit(
            "too-high",
            f"{height_cm} cm is too high for the {name}: a grid is built up to "
            f"{HIGHEST_CM} cm, and to what horse and rider may jump.",
        )


def check_spread(one: SpecElement, spread_cm: int, name: str) -> None:
    """Refuse a spread that the element can't have [cm].

    Raises
    ------
    UnableToEdit
        With code `other-kind` or `spread`.
    """
    if one.kind is not Kind.OXER:
        if spread_cm:
            raise only(name, one, "an oxer", "given a width")
        return
    if not 1 <= spread_cm <= WIDEST_CM:
        raise UnableToEdit(
            "spread",
            f"{spread_cm} cm is no width for the {name}: make it from 1 to "
            f"{WIDEST_CM} cm, usually as wide as it is high.",
        )


def _words(value: str) -> str:
    return str(value).replace("-", " ")
