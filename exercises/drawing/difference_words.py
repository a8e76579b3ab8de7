"""The difference of two states of an exercise, in sentences."""

from exercises.drawing.words import element_words
from exercises.geometry.differences import Difference, ElementChange, FieldChange
from exercises.geometry.editing.words import GAP_WORDS
from exercises.geometry.spec import FirstStage, Gap, SpecElement
from exercises.geometry.units import METRIC, Units


def difference_words(
    found: Difference, first: str, second: str, units: Units = METRIC
) -> tuple[str, ...]:
    """Say each difference of two states.

    Parameters
    ----------
    found
        The differences.
    first, second
        Whose state each is, "the library" and "ours" say.
    units
        What lengths are written in.
    """
    said = [
        f"{one.name}: {_value(one, one.was, units)} in {first}, "
        f"{_value(one, one.now, units)} in {second}."
        for one in found.fields
    ]
    for each in found.lists:
        if each.gone:
            said.append(f"{each.name}, only in {first}: {_listed(each.gone)}.")
        if each.new:
            said.append(f"{each.name}, only in {second}: {_listed(each.new)}.")
    said += [_element(one, first, second, units) for one in found.elements]
    if found.stages:
        said.append(
            f"Stages: {len(found.stages_was)} in {first} "
            f"({_stages(found.stages_was)}), {len(found.stages_now)} in {second} "
            f"({_stages(found.stages_now)})."
        )
    return tuple(said)


def _listed(words: tuple[str, ...]) -> str:
    return "; ".join(one.rstrip(".") for one in words)


def _value(one: FieldChange, value: object, units: Units) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return units.length(value)
    if value is None:
        return "as the riders'"
    words = str(value)
    return f"“{words}”" if one.name in {"Name", "Aim", "Source"} else words


def _element(one: ElementChange, first: str, second: str, units: Units) -> str:
    at = (one.now_at if one.was_at is None else one.was_at) or 0
    if one.was is None or one.now is None:
        whose = second if one.was is None else first
        only = one.was or one.now
        return (
            f"Only in {whose}: element {at + 1}, {_whole(only, units) if only else ''}."
        )
    return (
        f"Element {at + 1}: {_whole(one.was, units)} in {first}, "
        f"{_whole(one.now, units)} in {second}."
    )


def _whole(one: SpecElement, units: Units) -> str:
    words = element_words(one.element(0), units)
    if one.gap is None:
        return words
    if one.gap is Gap.MEASURE:
        return f"{words} after {units.length(one.gap_cm or 0)}"
    return f"{words} after {GAP_WORDS[one.gap]}"


def _stages(stages: tuple[FirstStage, ...]) -> str:
    return "; ".join(one.says for one in stages)
