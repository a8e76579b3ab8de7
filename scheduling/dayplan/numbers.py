"""Turns a day into the engine's numbers: tasks, lines and least reset seconds."""

from collections import Counter
from dataclasses import dataclass

from exercises.geometry.elements import Piece, pieces
from scheduling.changeover.setups import GridRow, Place, Setup, pieces_of
from scheduling.changeover.tables import Costs
from scheduling.dayplan.day import Day, DayLesson, DayLine
from scheduling.solver.problem import (
    MORNING,
    Apart,
    Arc,
    Problem,
    Stock,
    Task,
    minutes_of,
)


@dataclass(frozen=True, slots=True)
class Numbers:
    """A day with what the engine's numbers stand for.

    Parameters
    ----------
    day
        As read.
    lines
        Lines in the order the engine counts them, with their arena's number.
    places
        For each (lesson, line) with a row that fits: its places.
    problem
        The engine's.
    costs
        Of changeovers, by the school's times.
    """

    day: Day
    lines: tuple[tuple[int, DayLine], ...]
    places: dict[tuple[int, int], tuple[Place, ...]]
    problem: Problem
    costs: Costs

    def row(self, lesson: int) -> GridRow | None:
        """Return the row of a lesson."""
        return self.day.lessons[lesson].grid


def numbers_of(
    day: Day, *, as_booked: bool = False, costs: Costs | None = None
) -> Numbers:
    """Turn a day into numbers.

    Parameters
    ----------
    day
        As read.
    as_booked
        Keep every booked start and arena; only places and resets are chosen.
    costs
        Of changeovers on this day, where some are worked out already.
    """
    costs = Costs(day.handling) if costs is None else costs
    lines = tuple(
        (n, line) for n, arena in enumerate(day.arenas) for line in arena.lines
    )

    arena_number = {arena.id: n for n, arena in enumerate(day.arenas)}
    places = _places(day, lines)
    tasks = tuple(
        _task(day, n, lesson, arena_number, places, as_booked)
        for n, lesson in enumerate(day.lessons)
    )
    stocks = _stocks(day, lines)
    arcs = _Arcs(day, lines, places, tasks, costs)
    return Numbers(
        day,
        lines,
        places,
        Problem(
            tasks=tasks,
            line_arena=tuple(arena for arena, _ in lines),
            arc_s=arcs.seconds(),
            strip_s=arcs.strips() if stocks else {},
            build_s=arcs.builds() if stocks else {},
            apart=_apart(day),
            stocks=stocks,
            crew=day.crew,
            crew_from=day.crew_from_min,
            crew_to=day.crew_to_min,
            moved_start_s=day.moved_start_s,
            moved_arena_s=day.moved_arena_s,
        ),
        costs,
    )


def _places(
    day: Day, lines: tuple[tuple[int, DayLine], ...]
) -> dict[tuple[int, int], tuple[Place, ...]]:
    """Return the places of each lesson's row on each line that may hold it."""
    alike: dict[tuple[object, ...], tuple[Place, ...]] = {}

    def places_of(lesson: DayLesson, line: DayLine) -> tuple[Place, ...]:
        # Rows that are alike share their places: they are many.
        fixed = None if lesson.place is None else (lesson.place, line.id)
        key = (lesson.grid, fixed, line.length_cm)
        if key not in alike:
            alike[key] = lesson.places_on(line, day.place_every_cm)
        return alike[key]

    return {
        (n, k): where
        for n, lesson in enumerate(day.lessons)
        if lesson.grid is not None
        for k, (arena, line) in enumerate(lines)
        if day.arenas[arena].id in lesson.arenas and (where := places_of(lesson, line))
    }


def _task(
    day: Day,
    number: int,
    lesson: DayLesson,
    arena_number: dict[str, int],
    places: dict[tuple[int, int], tuple[Place, ...]],
    as_booked: bool,
) -> Task:
    starts, arenas = day.starts(lesson), lesson.arenas
    booked = lesson.booked
    if as_booked and booked is not None:
        starts = tuple(one for one in starts if one == booked.start_min)
        arenas = tuple(one for one in arenas if one == booked.arena)
    return Task(
        starts=starts,
        minutes=lesson.minutes,
        arenas=tuple(arena_number[one] for one in arenas),
        lines=tuple(k for (n, k) in places if n == number),
        has_row=lesson.grid is not None,
        clears=lesson.needs_clear,
        warm_up=lesson.warm_up_min,
        cool_down=lesson.cool_down_min,
        booked=(booked.start_min, arena_number[booked.arena]) if booked else None,
    )


def _apart(day: Day) -> tuple[Apart, ...]:
    people: dict[str, list[int]] = {}
    horses: dict[str, list[int]] = {}
    for n, lesson in enumerate(day.lessons):
        for one in lesson.people:
            people.setdefault(one, []).append(n)
        for one in lesson.horses:
            horses.setdefault(one, []).append(n)
    groups = [Apart(tuple(tasks)) for tasks in people.values() if len(tasks) > 1]
    groups += [
        Apart(tuple(tasks), day.horses[horse].rest_min)
        for horse, tasks in horses.items()
        if len(tasks) > 1
    ]
    return tuple(groups)


def held_pieces(row: GridRow) -> Counter[Piece]:
    """Pieces a row takes from the moment it is built.

    Those of its end are counted from then on too: they must be at hand when the
    lesson raises the row.
    """
    start: Counter[Piece] = Counter()
    for one in row.start:
        start += pieces(one)
    end: Counter[Piece] = Counter()
    for one in row.end:
        end += pieces(one)
    return start | end


def _stocks(day: Day, lines: tuple[tuple[int, DayLine], ...]) -> tuple[Stock, ...]:
    """Return the kinds of pieces that may run short; the others are left out."""
    rows = [(n, held_pieces(one.grid)) for n, one in enumerate(day.lessons) if one.grid]
    morning = [pieces_of(line.standing) for _, line in lines]
    stocks = []
    for piece, owned in day.stock.items():
        by_task = {n: held[piece] for n, held in rows if held[piece]}
        by_line = {k: held[piece] for k, held in enumerate(morning) if held[piece]}
        most = max([0, *by_task.values()])
        # No line ever holds more than the largest row or what it began with:
        # a reset strips before it builds.
        if sum(max(most, by_line.get(k, 0)) for k in range(len(lines))) > owned:
            stocks.append(Stock(owned, by_task, by_line))
    return tuple(stocks)


class _Arcs:
    """Least seconds of each reset that may be needed."""

    def __init__(
        self,
        day: Day,
        lines: tuple[tuple[int, DayLine], ...],
        places: dict[tuple[int, int], tuple[Place, ...]],
        tasks: tuple[Task, ...],
        costs: Costs,
    ) -> None:
        self.day, self.lines, self.places, self.tasks = day, lines, places, tasks
        self.costs = costs
        # The same rows follow each other many times in a day; a row is known by
        # its first lesson.
        self._known: dict[tuple[int, ...], int] = {}
        first: dict[tuple[object, ...], int] = {}
        self._alike = [
            first.setdefault((lesson.grid, lesson.place), n)
            for n, lesson in enumerate(day.lessons)
        ]
        self.nodes = {
            k: [
                n
                for n, task in enumerate(tasks)
                if task.starts
                and ((n, k) in places or (task.clears and arena in task.arenas))
            ]
            for k, (arena, _) in enumerate(lines)
        }

    def _row(self, n: int) -> GridRow | None:
        return self.day.lessons[n].grid

    def left(self, line: int, before: int) -> Setup:
        """Return what a task, or the morning, leaves on a line, somewhere."""
        if before == MORNING:
            return self.lines[line][1].standing
        row = self._row(before)
        return () if row is None else row.stand(row.end, Place(0, False))

    def seconds(self) -> dict[Arc, int]:
        """Return the least seconds of each arc that some plan could take."""
        arcs: dict[Arc, int] = {}
        for line, nodes in self.nodes.items():
            for after in nodes:
                arcs[line, MORNING, after] = self._arc(line, MORNING, after)
                one = self.tasks[after]
                due = one.starts[-1] + (0 if one.clears else one.warm_up)
                for before in nodes:
                    its = self.tasks[before]
                    free = its.starts[0] + its.minutes
                    if before == after or free > one.starts[-1]:
                        continue
                    seconds = self._arc(line, before, after)
                    if free - its.cool_down + minutes_of(seconds) <= due:
                        arcs[line, before, after] = seconds
        return arcs

    def _arc(self, line: int, before: int, after: int) -> int:
        length_cm = self.lines[line][1].length_cm
        key = (length_cm, self._alike[before], self._alike[after])
        if before == MORNING:
            key = (-1 - line, MORNING, self._alike[after])
        if key not in self._known:
            self._known[key] = self._seconds(line, before, after)
        return self._known[key]

    def _seconds(self, line: int, before: int, after: int) -> int:
        earlier = None if before == MORNING else self._row(before)
        later = self._row(after)
        if later is None:
            return self.costs.to_strip(self.left(line, before))
        now = self.places[after, line]
        if earlier is None:
            return self._from_standing(self.left(line, before), later, now)
        length_cm, every_cm = self.lines[line][1].length_cm, self.day.place_every_cm
        return self.costs.least_between(
            *(earlier, later, length_cm, every_cm),
            was_fixed=self._fixed(before),
            now_fixed=self._fixed(after),
        )

    def _fixed(self, n: int) -> Place | None:
        fixed = self.day.lessons[n].place
        return None if fixed is None else fixed.place

    def _from_standing(
        self, standing: Setup, later: GridRow, places: tuple[Place, ...]
    ) -> int:
        if not standing:
            places = places[:1]
        return int(self.costs.from_standing(standing, later, places).min())

    def strips(self) -> dict[tuple[int, int], int]:
        """Return the seconds to strip what each task, or the morning, left."""
        return {
            (line, before): seconds
            for line, nodes in self.nodes.items()
            for before in (MORNING, *nodes)
            if (seconds := self.costs.to_strip(self.left(line, before)))
        }

    def builds(self) -> dict[tuple[int, int], int]:
        """Return the seconds to build each row on a line from nothing."""
        return {
            (line, n): self._from_standing((), row, self.places[n, line])
            for line, nodes in self.nodes.items()
            for n in nodes
            if (row := self._row(n)) is not None
        }
