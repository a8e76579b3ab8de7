"""What was done to an exercise, step by step, so that it can be undone and redone."""

from dataclasses import dataclass, replace

from exercises.geometry.spec import ExerciseSpec

MOST_STEPS = 100
"""Steps kept; beyond this the oldest can't be undone any more."""


@dataclass(frozen=True, slots=True)
class Step:
    """An exercise as it was after a change, and the change in words."""

    spec: ExerciseSpec
    says: str


@dataclass(frozen=True, slots=True)
class History:
    """Steps, oldest first, and which of them stands now (counted from 0)."""

    steps: tuple[Step, ...]
    at: int = 0

    @property
    def spec(self) -> ExerciseSpec:
        """The exercise as it stands."""
        return self.steps[self.at].spec

    @property
    def undoes(self) -> str:
        """What an undo would take back, in words; empty where there is nothing."""
        return self.steps[self.at].says if self.at else ""

    @property
    def redoes(self) -> str:
        """What a redo would bring again, in words; empty where there is nothing."""
        later = self.steps[self.at + 1 : self.at + 2]
        return later[0].says if later else ""

    def did(self, spec: ExerciseSpec, says: str) -> "History":
        """Return the history with a change made; what was undone is forgotten."""
        steps = (*self.steps[: self.at + 1], Step(spec, says))[-MOST_STEPS:]
        return History(steps, len(steps) - 1)

    def undone(self) -> "History":
        """Return the history one step back, or as it is at the first."""
        return replace(self, at=max(self.at - 1, 0))

    def redone(self) -> "History":
        """Return the history one step on, or as it is at the last."""
        return replace(self, at=min(self.at + 1, len(self.steps) - 1))
