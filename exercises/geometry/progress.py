"""How far a horse and rider go next time: the same stage, one on, or one back.

The rules are those coaches give each other: build on only when the last was calm
and straight (a bounce grid of a Canadian magazine); stop at two good passes at
the aim, and go back after two knocks or stops (the school's own count); never two
firsts at once, so a new pair does not go on (common practice, no source). The
tool suggests; the coach decides.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

GOOD_PASSES = 2
"""So many good passes at a stage, and the next may be tried."""

FAULTS_TO_GO_BACK = 2
"""So many knocks or stops at a stage, and the one before comes again."""

LONG_BREAK_DAYS = 42
"""After a longer break nobody goes on (the school's own)."""

FIRST_STAGE = 1


class Went(StrEnum):
    """How it went over all, as the coach saw it."""

    GOOD = "good"
    MIXED = "mixed"
    TOO_MUCH = "too-much"
    NOT_RIDDEN = "not-ridden"


class Step(StrEnum):
    """What is suggested, against what was ridden last."""

    BEGIN = "begin"
    BACK = "back"
    SAME = "same"
    ON = "on"


@dataclass(frozen=True, slots=True)
class Ridden:
    """How one horse and rider went at one exercise.

    Parameters
    ----------
    stage
        The furthest they rode, counted from 1; 0 if they did not jump it.
    passes
        At that stage.
    knocks, stops
        Poles knocked; refusals and run-outs.
    crooked
        Whether they drifted, rushed or lost their rhythm: not calm or straight.
    days_ago
        Since then.
    """

    stage: int
    passes: int
    went: Went
    knocks: int = 0
    stops: int = 0
    crooked: bool = False
    days_ago: int = 0

    @property
    def faults(self) -> int:
        """Knocks and stops together."""
        return self.knocks + self.stops

    @property
    def jumped(self) -> bool:
        """Whether anything can be told from it."""
        return self.stage >= FIRST_STAGE and self.went is not Went.NOT_RIDDEN


@dataclass(frozen=True, slots=True)
class Suggestion:
    """The stage to aim at next time, and why."""

    step: Step
    stage: int
    reason: str


def suggest_stage(
    pair: Sequence[Ridden],
    *,
    stages: int,
    horse: Sequence[Ridden] = (),
    rider: Sequence[Ridden] = (),
) -> Suggestion:
    """Suggest the stage a pair aims at next.

    Parameters
    ----------
    pair
        What they rode of this exercise together, the newest first.
    stages
        How many the exercise has now.
    horse, rider
        What each rode of it with others, the newest first; asked only of a pair
        that is new to it.
    """
    last = next((one for one in pair if one.jumped), None)
    if last is not None:
        return _of_pair(last, stages)
    known = [
        next((one.stage for one in every if one.jumped), FIRST_STAGE)
        for every in (horse, rider)
    ]
    if not any(one.jumped for one in (*horse, *rider)):
        return Suggestion(
            Step.BEGIN, FIRST_STAGE, "New to this exercise: begin with its first stage."
        )
    stage = min(*known, stages)
    return Suggestion(
        Step.SAME,
        stage,
        "New to each other here: no further than the less experienced of the two, "
        f"stage {stage}.",
    )


def _of_pair(last: Ridden, stages: int) -> Suggestion:
    at = min(last.stage, stages)
    back = max(FIRST_STAGE, at - 1)
    if last.went is Went.TOO_MUCH:
        return Suggestion(Step.BACK, back, "It was too much last time: one stage back.")
    if last.faults >= FAULTS_TO_GO_BACK:
        return Suggestion(
            Step.BACK, back, f"{_faults(last)} at stage {last.stage}: one stage back."
        )
    why = _why_not_on(last)
    if why:
        return Suggestion(Step.SAME, at, f"{why}: the same stage again.")
    if at == stages:
        return Suggestion(
            Step.SAME,
            at,
            f"{last.passes} good passes at the last stage: the row is done. Raise it "
            "by a hole, or take a harder one.",
        )
    return Suggestion(
        Step.ON, at + 1, f"{last.passes} good passes at stage {at}: one stage on."
    )


def _why_not_on(last: Ridden) -> str:
    """Say what keeps a pair from going on; nothing if it may."""
    if last.went is not Went.GOOD:
        return "It went mixed last time"
    if last.stops:
        return _faults(last)
    if last.crooked:
        return "Not yet calm and straight"
    if last.passes - last.faults < GOOD_PASSES:
        return f"Fewer than {GOOD_PASSES} good passes last time"
    if last.days_ago > LONG_BREAK_DAYS:
        return f"{last.days_ago} days ago"
    return ""


def _faults(last: Ridden) -> str:
    """Count knocks and stops in words, "2 knocks and 1 stop" say."""
    parts = [
        f"{count} {name}{'' if count == 1 else 's'}"
        for count, name in ((last.knocks, "knock"), (last.stops, "stop"))
        if count
    ]
    return " and ".join(parts)


def together(suggestions: Sequence[Suggestion]) -> int:
    """Return the stage for a ride as a whole: the least of all; at least the first."""
    return min((one.stage for one in suggestions), default=FIRST_STAGE)
