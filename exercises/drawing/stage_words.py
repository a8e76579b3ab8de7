"""What changes from stage to stage, and how gaps then ride, in words."""

from collections.abc import Iterable

from exercises.drawing.words import element_words
from exercises.geometry.editing.words import GAP_WORDS
from exercises.geometry.elements import Element, GroundLine
from exercises.geometry.fitting import FittedGap, FittedStage, HorseGap
from exercises.geometry.stages import Step
from exercises.geometry.units import METRIC, Units


def step_words(step: Step, units: Units = METRIC) -> str:
    """Say in one sentence what becomes of one slot, by its place in the row."""
    was, now = step.was, step.now
    if was is None or now is None:
        one = now or was
        if one is None:
            return ""
        do = "Add" if was is None else "Take out"
        name = element_words(one, units) if was is None else f"the {_name(one)}"
        article = _article(name) if was is None else ""
        return f"{do} {article}{name} at {units.length(one.at_cm)}."
    name = f"The {_name(was)} at {units.length(was.at_cm)}"
    if was.kind is not now.kind:
        words = element_words(now, units)
        return f"{name} becomes {_article(words)}{words}."
    return f"{name}: {', '.join(_differences(was, now, units))}."


def stage_words(stage: FittedStage, units: Units = METRIC) -> tuple[str, ...]:
    """Say what changes in a stage, step by step."""
    return tuple(step_words(one, units) for one in stage.steps)


def two_things_words(stage: FittedStage) -> str:
    """Point out a stage that changes more than one thing; else say nothing."""
    if stage.things <= 1:
        return ""
    if stage.together:
        return f"{stage.things} things change together: {stage.together}."
    return (
        f"{stage.things} things change at once: nobody can then say which of them the "
        "horse answered. Change one, ride it, then the other."
    )


def outside_words(
    outside: Iterable[tuple[FittedGap, HorseGap]], units: Units = METRIC
) -> tuple[str, ...]:
    """Say which gaps lie outside a horse's band as the row stands."""
    return tuple(
        f"Gap {gap.before}, {units.length(gap.built_cm)} as {GAP_WORDS[gap.gap]}, is "
        f"{one.words(units)} for {one.horse.name} as it stands now."
        for gap, one in outside
    )


def _name(one: Element) -> str:
    return one.kind.value.replace("-", " ")


def _article(words: str) -> str:
    return "an " if words[0] in "aeiou" else "a "


_GROUND_LINES = {
    GroundLine.NONE: "no ground line",
    GroundLine.TAKE_OFF: "ground line in front",
    GroundLine.BOTH: "ground lines on both sides",
}


def _differences(was: Element, now: Element, units: Units) -> list[str]:
    said = []
    if was.height_cm != now.height_cm:
        by = now.height_cm - was.height_cm
        way = "up" if by > 0 else "down"
        said.append(
            f"{way} {units.height_change(by)}, to {units.height(now.height_cm)}"
        )
    if was.spread_cm != now.spread_cm:
        by = now.spread_cm - was.spread_cm
        way = "wider" if by > 0 else "narrower"
        said.append(f"{units.short(abs(by))} {way}, to {units.short(now.spread_cm)}")
    if was.ascending is not now.ascending:
        said.append(
            "front lower than the back" if now.ascending else "both rails level"
        )
    if was.ground_line is not now.ground_line:
        said.append(_GROUND_LINES[now.ground_line])
    if was.guides is not now.guides:
        said.append("guide rails to it" if now.guides else "without guide rails")
    if was.front_rails != now.front_rails:
        count = now.front_rails
        said.append(f"{count} rail{'' if count == 1 else 's'}")
    return said
