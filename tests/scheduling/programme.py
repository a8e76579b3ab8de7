"""A whole day as one integer programme, for solvers that know nothing of days.

Written from the day file's contract alone: times are numbers, either-or is a choice
with a large number behind it, and what follows what on a line is a flow from the
morning on over every place a row may have. The engines work with intervals, circuits
and prices instead. Days with a store that may run short are not for it; seconds of a
reset are the judge's own reckoning.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import combinations, permutations
from math import inf
from typing import Any

import numpy as np
from ortools.linear_solver import pywraplp
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_array

from scheduling.dayplan.check_resets import handling_times
from scheduling.dayplan.check_rules import plain, stood
from scheduling.dayplan.cost import cheapest_seconds
from scheduling.dayplan.day import Day, DayLesson
from scheduling.dayplan.document import read_day

Sum = dict[int, float]
"""A linear expression: its factor by variable; the constant under `ONE`."""

ONE = -1
LONG = 24 * 60
"""More minutes than any two moments of a day lie apart."""


def total(*sums: Sum, times: float = 1) -> Sum:
    found: Sum = {}
    for one in sums:
        for key, factor in one.items():
            found[key] = found.get(key, 0) + times * factor
    return found


def but(one: Sum, other: Sum) -> Sum:
    return total(one, total(other, times=-1))


@dataclass
class Programme:
    """Variables from 0 to `most`, rows that must be at least 0, and what is least."""

    most: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    rows: list[Sum] = field(default_factory=list)
    least: Sum = field(default_factory=dict)

    def number(self, most: float = LONG) -> Sum:
        self.most.append(most)
        self.whole.append(False)
        return {len(self.most) - 1: 1}

    def choice(self) -> Sum:
        self.most.append(1)
        self.whole.append(True)
        return {len(self.most) - 1: 1}

    def at_least(self, one: Sum, other: Sum) -> None:
        self.rows.append(but(one, other))

    def equal(self, one: Sum, other: Sum) -> None:
        self.at_least(one, other)
        self.at_least(other, one)

    def after(self, one: Sum, other: Sum, *conditions: Sum) -> None:
        """Demand `one` not before `other` where every condition is 1."""
        slack = total(
            *({ONE: LONG} for _ in conditions), total(*conditions, times=-LONG)
        )
        self.at_least(total(one, slack), other)

    def by_highs(self) -> int | None:
        """Solve it with HiGHS, through SciPy; None where nothing keeps the rows."""
        matrix = lil_array((len(self.rows), len(self.most)))
        low = np.zeros(len(self.rows))
        for n, row in enumerate(self.rows):
            for key, factor in row.items():
                if key == ONE:
                    low[n] = -factor
                else:
                    matrix[n, key] = factor
        weights = [self.least.get(key, 0) for key in range(len(self.most))]
        answer = milp(
            weights,
            constraints=LinearConstraint(matrix.tocsr(), low, inf),
            integrality=self.whole,
            bounds=Bounds(0, self.most),
            options={"mip_rel_gap": 0},
        )
        assert answer.status in {0, 2}, answer.message
        if answer.status == 2:
            return None
        return round(answer.fun + self.least.get(ONE, 0))

    def by_scip(self) -> int | None:
        """Solve it with SCIP, through OR-Tools; None where nothing keeps the rows."""
        solver = pywraplp.Solver.CreateSolver("SCIP")
        variables = [
            solver.IntVar(0, most, "") if whole else solver.NumVar(0, most, "")
            for most, whole in zip(self.most, self.whole, strict=True)
        ]
        for row in self.rows:
            made = solver.Constraint(-row.get(ONE, 0), solver.infinity())
            for key, factor in row.items():
                if key != ONE:
                    made.SetCoefficient(variables[key], factor)
        for key, factor in self.least.items():
            if key != ONE:
                solver.Objective().SetCoefficient(variables[key], factor)
        solver.Objective().SetMinimization()
        status = solver.Solve()
        assert status in {solver.OPTIMAL, solver.INFEASIBLE}, status
        if status == solver.INFEASIBLE:
            return None
        return round(solver.Objective().Value() + self.least.get(ONE, 0))


@dataclass
class Lesson:
    """A lesson's choices: when, in which arena, where on which line."""

    lesson: DayLesson
    when: dict[int, Sum]
    where: dict[tuple[str, str | None, int, bool], Sum]

    @property
    def start(self) -> Sum:
        return total(*(total(one, times=at) for at, one in self.when.items()))

    @property
    def end(self) -> Sum:
        return total(self.start, {ONE: self.lesson.minutes})

    @property
    def free(self) -> Sum:
        return total(self.end, {ONE: -self.lesson.cool_down_min})

    def within(self, arena: str) -> Sum:
        return total(*(one for key, one in self.where.items() if key[0] == arena))


@dataclass
class Reset:
    """A reset that may be needed: for whom, whether, from when and how long."""

    of: Lesson
    arenas: tuple[str, ...]
    needed: Sum
    begins: Sum
    minutes: Sum

    @property
    def ends(self) -> Sum:
        return total(self.begins, self.minutes)


def programme_of(document: dict[str, Any]) -> Programme:
    """Write a day as a programme whose least is the day's least objective."""
    day, made = read_day(document), Programme()
    lessons = [_lesson(made, day, one) for one in day.lessons]
    for one, other in combinations(lessons, 2):
        _apart(made, day, one, other)
    resets = _resets(made, day, lessons)
    for reset in resets:
        _in_its_gap(made, day, reset, lessons)
    _crew(made, day.crew, resets)
    return made


def _lesson(made: Programme, day: Day, lesson: DayLesson) -> Lesson:
    when = {at: made.choice() for at in day.starts(lesson)}
    where = {key: made.choice() for key in _places(day, lesson)}
    one = Lesson(lesson, when, where)
    for choices in (when, where):
        made.equal(total(*choices.values()), {ONE: 1})
    if lesson.booked is not None:
        kept = when.get(lesson.booked.start_min, {})
        kept_arena = one.within(lesson.booked.arena)
        made.least = total(
            made.least,
            {ONE: day.moved_start_s + day.moved_arena_s},
            total(kept, times=-day.moved_start_s),
            total(kept_arena, times=-day.moved_arena_s),
        )
    return one


def _places(day: Day, lesson: DayLesson) -> Iterator[tuple[str, str | None, int, bool]]:
    for arena in day.arenas:
        if arena.id not in lesson.arenas:
            continue
        if lesson.grid is None:
            yield arena.id, None, 0, False
            continue
        for line in arena.lines:
            for place in lesson.places_on(line, day.place_every_cm):
                yield arena.id, line.id, place.offset_cm, place.mirrored


def _apart(made: Programme, day: Day, one: Lesson, other: Lesson) -> None:
    shared = set(one.lesson.horses) & set(other.lesson.horses)
    rest = max((day.horses[horse].rest_min for horse in shared), default=0)
    first = made.choice()
    second = but({ONE: 1}, first)
    if shared or set(one.lesson.people) & set(other.lesson.people):
        made.after(other.start, total(one.end, {ONE: rest}), first)
        made.after(one.start, total(other.end, {ONE: rest}), second)
    for arena in set(one.lesson.arenas) & set(other.lesson.arenas):
        both = one.within(arena), other.within(arena)
        made.after(other.start, one.end, first, *both)
        made.after(one.start, other.end, second, *both)


def _resets(made: Programme, day: Day, lessons: list[Lesson]) -> list[Reset]:
    """Let what stands flow along each line, from the morning through its lessons."""
    its: dict[int, Reset] = {}
    found: list[Reset] = []
    for n, one in enumerate(lessons):
        if one.lesson.grid is not None:
            its[n] = Reset(one, one.lesson.arenas, {}, made.number(), {})
            found.append(its[n])
    for arena in day.arenas:
        for line in arena.lines:
            clears = {
                n: Reset(one, (arena.id,), {}, made.number(), {})
                for n, one in enumerate(lessons)
                if one.lesson.needs_clear and arena.id in one.lesson.arenas
            }
            found += clears.values()
            _flow(made, day, lessons, (arena.id, line), its | clears)
    return found


def _flow(
    made: Programme,
    day: Day,
    lessons: list[Lesson],
    on: tuple[str, Any],
    resets: dict[int, Reset],
) -> None:
    arena, line = on
    times = handling_times(day)
    nodes: list[tuple[int, Sum, list[Any], list[Any]]] = []
    for n, one in enumerate(lessons):
        grid = one.lesson.grid
        if grid is None and n in resets:
            nodes.append((n, one.within(arena), [], []))
        for (where, name, *place), used in one.where.items():
            if grid is not None and (where, name) == (arena, line.id):
                rows = [
                    stood(e, grid.length_cm, *place) for e in (grid.start, grid.end)
                ]
                nodes.append((n, used, *rows))
    morning = [plain(p.element, p.at_cm, p.faces.value) for p in line.standing]
    into: list[Sum] = [{} for _ in nodes]
    out: list[Sum] = [{} for _ in [None, *nodes]]
    ways: dict[tuple[int, int], Sum] = {}
    for b, (after, _, wanted, _) in enumerate(nodes):
        for a, (before, _, _, left) in enumerate([(-1, {}, [], morning), *nodes]):
            if before == after:
                continue
            way = made.choice()
            into[b], out[a] = total(into[b], way), total(out[a], way)
            ways[before, after] = total(ways.get((before, after), {}), way)
            seconds = cheapest_seconds(left, wanted, times)
            if seconds:
                reset, minutes = resets[after], -(-seconds // 60)
                reset.needed = total(reset.needed, way)
                reset.minutes = total(reset.minutes, total(way, times=minutes))
                made.least = total(made.least, total(way, times=seconds))
    made.at_least({ONE: 1}, out[0])
    for b, (_, used, *_) in enumerate(nodes):
        made.equal(into[b], used)
        made.at_least(used, out[b + 1])
    for (before, after), way in ways.items():
        if before >= 0:
            made.after(lessons[after].start, lessons[before].end, way)
            made.after(resets[after].begins, lessons[before].free, way)


def _in_its_gap(made: Programme, day: Day, reset: Reset, lessons: list[Lesson]) -> None:
    lesson = reset.of.lesson
    late = 0 if lesson.needs_clear else lesson.warm_up_min
    made.after(total(reset.of.start, {ONE: late}), reset.ends, reset.needed)
    made.after(reset.begins, {ONE: day.crew_from_min}, reset.needed)
    made.after({ONE: day.crew_to_min}, reset.ends, reset.needed)
    for other in lessons:
        if other is reset.of:
            continue
        before = made.choice()
        for arena in set(reset.arenas) & set(other.lesson.arenas):
            both = reset.needed, reset.of.within(arena), other.within(arena)
            made.after(other.start, reset.ends, before, *both)
            made.after(reset.begins, other.free, but({ONE: 1}, before), *both)


def _crew(made: Programme, crew: int, resets: list[Reset]) -> None:
    """Of any one more than the crew, two must follow each other: they are spans."""
    follows = {}
    for a, b in permutations(range(len(resets)), 2):
        follows[a, b] = made.choice()
        made.after(resets[b].begins, resets[a].ends, follows[a, b])
    for some in combinations(range(len(resets)), crew + 1):
        needed = total(*(resets[n].needed for n in some), {ONE: -crew})
        made.at_least(total(*(follows[two] for two in permutations(some, 2))), needed)
