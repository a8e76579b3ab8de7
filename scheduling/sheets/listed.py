"""What a list says of a changeover: the same words on the page and on paper."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from exercises.drawing.words import element_words
from exercises.geometry.data import element_from_data
from exercises.geometry.units import Units
from scheduling.changeover.walking import Walk
from scheduling.convert.changeovers import walk_of
from scheduling.drawing.changeover_picture import draw_changeover
from scheduling.models import Changeover, ChangeoverMove
from scheduling.queries.carrying import Carrying
from scheduling.wording import (
    HEADINGS,
    alone_words,
    changeover_carry,
    gap_words,
    height_words,
    load_words,
    move_words,
    pass_words,
    pieces_words,
    way_words,
)


@dataclass(frozen=True, slots=True)
class ListedStep:
    """One move in walking order, in words.

    Parameters
    ----------
    heading
        The heading that begins with it, if one does.
    was, now
        What stood and what is to stand, with its place; empty for nothing.
    gap
        The gap before it, to check.
    pieces
        Where its pieces come from, or go to.
    """

    move: ChangeoverMove
    heading: str
    words: str
    was: str
    now: str
    gap: str
    pieces: str


@dataclass(frozen=True, slots=True)
class ListedWork:
    """A changeover in words, its moves in walking order, and its drawing."""

    minutes: int
    carry: str
    bring: str
    take_back: str
    alone: str
    way: str
    measure: str
    heights: str
    picture: str
    steps: tuple[ListedStep, ...]


def listed_work(changeover: Changeover, units: Units, carrying: Carrying) -> ListedWork:
    """Return what a list says of a changeover fetched with all."""
    line = changeover.line
    found, crew, moves = walk_of(changeover, carrying)
    data = [_data(one) for one in moves]
    carry = changeover_carry(data)
    length = changeover.ends_at - changeover.starts_at
    return ListedWork(
        minutes=int(length.total_seconds() // 60),
        carry=carry.words(),
        bring=load_words(carry.bring, crew),
        take_back=load_words(carry.take_back, crew),
        alone=alone_words(carry.bring + carry.take_back, crew),
        way=way_words(found, units),
        measure=pass_words(found.measures, data, units),
        heights=height_words(found.heights, data, units),
        picture=draw_changeover(
            data,
            line.length_cm,
            ident=f"changeover-{changeover.pk}",
            title=changeover.heading,
            datum=line.datum,
            units=units,
        ),
        steps=_steps(moves, found, line.datum, units),
    )


def _steps(
    moves: Sequence[ChangeoverMove], found: Walk, datum: str, units: Units
) -> tuple[ListedStep, ...]:
    data = [_data(one) for one in moves]
    gaps = gap_words(data, units)
    headings = [HEADINGS[found.phases[n]] for n in found.order]
    before = ["", *headings]
    return tuple(
        ListedStep(
            move=move,
            heading=heading if heading != above else "",
            words=move_words(one, datum, units),
            was=_element(move.was, units),
            now=_element(move.now, units),
            gap=gaps.get(move.now["at_cm"], "") if move.now else "",
            pieces=pieces_words(one, found, units),
        )
        for move, one, heading, above in zip(
            moves, data, headings, before, strict=False
        )
    )


def _data(move: ChangeoverMove) -> dict[str, Any]:
    return {"do": move.do, "was": move.was, "now": move.now}


def _element(data: dict[str, Any] | None, units: Units) -> str:
    if not data:
        return ""
    one = element_from_data(data)
    return f"{element_words(one, units)} at {units.length(one.at_cm)}"
