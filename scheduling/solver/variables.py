"""The variables of the day's model, from which an answer is read."""

from dataclasses import dataclass, field

from ortools.sat.python import cp_model

from scheduling.solver.problem import MORNING, Arc, Problem


@dataclass
class Timed:
    """A reset in the model: when it may run, and how long [min]."""

    line: int
    task: int
    start: cp_model.IntVar
    minutes: cp_model.IntVar
    end: cp_model.IntVar
    present: cp_model.IntVar
    strip_of: int | None = None


@dataclass
class Model:
    """The model and the variables that an answer is read from."""

    problem: Problem
    cp: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    start: list[cp_model.IntVar] = field(default_factory=list)
    in_arena: list[dict[int, cp_model.IntVar]] = field(default_factory=list)
    on_line: dict[tuple[int, int], cp_model.IntVar] = field(default_factory=dict)
    arc: dict[Arc, cp_model.IntVar] = field(default_factory=dict)
    last: dict[tuple[int, int], cp_model.IntVar] = field(default_factory=dict)
    strip: dict[tuple[int, int], cp_model.IntVar] = field(default_factory=dict)
    arc_after_strip: dict[Arc, cp_model.IntVar] = field(default_factory=dict)
    resets: list[Timed] = field(default_factory=list)
    cost: list[cp_model.LinearExprT] = field(default_factory=list)
    extra: list[cp_model.IntVar] = field(default_factory=list)

    @property
    def horizon(self) -> int:
        """End of all times, in minutes of the day."""
        ends = [task.starts[-1] + task.minutes for task in self.problem.tasks]
        return max([self.problem.crew_to, 24 * 60, *ends])


def strip_timed(model: Model, line: int, before: int) -> Timed | None:
    """Return the reset that strips what `before` left on a line, if there is one."""
    for one in model.resets:
        if one.line == line and one.strip_of == before and one.task == MORNING:
            return one
    return None
