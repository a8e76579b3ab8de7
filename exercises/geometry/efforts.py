"""Counts the jumping efforts of a row, for a horse's work register.

A fence is one effort each time it is jumped, a raised pole a quarter, a pole or
plank on the ground none (the school's own, from how riders count a horse's
jumps). Kept in quarters, so that sums are exact.
"""

from collections.abc import Sequence

from exercises.geometry.elements import FENCES, Element, Kind

QUARTERS = 4
"""Quarters in one effort."""


def pass_quarters(elements: Sequence[Element]) -> int:
    """Return the efforts of one pass through a row, in quarters of one."""
    return sum(
        QUARTERS if one.kind in FENCES else int(one.kind is Kind.RAISED_POLE)
        for one in elements
    )


def ridden_quarters(
    stages: Sequence[Sequence[Element]],
    passes: Sequence[int],
    *,
    stage: int,
    passes_there: int,
) -> int:
    """Return the efforts of building a row up to a stage, in quarters of one.

    Parameters
    ----------
    stages
        What stood in each stage.
    passes
        How often each is meant to be ridden: taken for those before the last.
    stage
        The furthest ridden, counted from 1; 0 if the row was not jumped.
    passes_there
        How often it was ridden at that stage.
    """
    if stage == 0:
        return 0
    before = sum(
        pass_quarters(elements) * often
        for elements, often in zip(stages[: stage - 1], passes, strict=False)
    )
    return before + pass_quarters(stages[stage - 1]) * passes_there


def efforts_words(quarters: int) -> str:
    """Write efforts as a number, "24" or "6.25" say."""
    return f"{quarters / QUARTERS:.2f}".rstrip("0").rstrip(".")
