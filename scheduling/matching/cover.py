"""The best way for every lesson that is touched: as many held as can be, then points.

An assignment with clashes: two lessons may want one instructor, arena, horse or rider
at the same time. It is given to CP-SAT with whole points, one worker, one seed and a
limit in its own deterministic time, so the same question has the same answer.

At first only the ways are looked at that cost little more than a lesson's best. What
is found with them is the best of all where it costs no more than the first way that
was left out would; else more ways are let in.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations

from ortools.sat.python import cp_model

from scheduling.matching.cover_problem import Cover, Covered, Key, Teaches, Way

LIMIT = 6.0
"""Deterministic seconds, for each round."""

ROOM = 10
"""Points over a lesson's best way up to which others are looked at at first."""

Chosen = dict[int, Way]
Pick = tuple[int, Key]


@dataclass(frozen=True, slots=True)
class Choice:
    """A lesson and how it is held; without a way it is cancelled.

    `next_best` is the best other way with all else as it is, and `more` what the
    whole would cost more, in points.
    """

    lesson: int
    way: Way | None
    next_best: Way | None = None
    more: int | None = None


@dataclass(frozen=True, slots=True)
class Covering:
    """What was found; `proved` says that nothing better exists among the ways."""

    choices: tuple[Choice, ...]
    points: int
    proved: bool


class UnableToCover(ValueError):
    """Why what was fixed can't be."""


def cover(
    problem: Cover,
    *,
    fixed: Mapping[int, Key | None] | None = None,
    limit: float = LIMIT,
) -> Covering:
    """Find the best ways.

    Parameters
    ----------
    problem
        The lessons and their ways.
    fixed
        Lessons whose way is settled; None cancels one.

    Raises
    ------
    UnableToCover
        Where what is fixed is not among the ways, or clashes.
    """
    settled = dict(fixed or {})
    _check_fixed(problem, settled)
    chosen, proved = _in_rounds(problem, settled, limit)
    points = cost(problem, chosen)
    choices = []
    for lesson in problem.lessons:
        other = _next(problem, lesson, chosen)
        more = None
        if other is not None and lesson.key in chosen:
            more = cost(problem, chosen | {lesson.key: other}) - points
        choices.append(Choice(lesson.key, chosen.get(lesson.key), other, more))
    return Covering(tuple(choices), points, proved)


def _in_rounds(
    problem: Cover, settled: Mapping[int, Key | None], limit: float
) -> tuple[Chosen, bool]:
    free = [one for one in problem.lessons if one.ways and one.key not in settled]
    fixed = [one for one in problem.lessons if settled.get(one.key)]
    most = max((_most(one) - _least(one) for one in free), default=0)
    least = sum(_least(one) for one in free)
    room = min(ROOM, most)
    while True:
        some = _within(problem, settled, room)
        chosen, proved = _solve(some, settled, limit)
        if room == most or not proved:
            return chosen, proved
        over = most
        if len(chosen) == len(free) + len(fixed):
            over = cost(problem, chosen) - least
            over -= sum(chosen[one.key].points for one in fixed)
        if over <= room:
            return chosen, proved
        # Whatever is better than this has no lesson so much over its best.
        room = min(over, most)


def _least(lesson: Covered) -> int:
    return min(way.points for way in lesson.ways)


def _most(lesson: Covered) -> int:
    return max(way.points for way in lesson.ways)


def _within(problem: Cover, settled: Mapping[int, Key | None], room: int) -> Cover:
    """Return the problem with the ways that cost so much over a lesson's best."""

    def near(one: Covered) -> Covered:
        if not one.ways:
            return one
        most, key = _least(one) + room, settled.get(one.key)
        ways = tuple(way for way in one.ways if way.points <= most or way.key == key)
        return replace(one, ways=ways)

    return replace(problem, lessons=tuple(near(one) for one in problem.lessons))


def clash(one: Covered, way: Way, other: Covered, its: Way) -> bool:
    """Say whether two lessons can't both be held in these ways."""
    apart = max(its.from_s - way.to_s, way.from_s - its.to_s)
    if apart < 0 and (way.teacher == its.teacher or way.arena == its.arena):
        return True
    return any(
        apart < 0 or apart < max(rest, other.takes[key])
        for key, rest in one.takes.items()
        if key in other.takes
    )


def cost(problem: Cover, chosen: Chosen) -> int:
    """Return the points of the ways that are chosen, with what they make together."""
    total = sum(way.points for way in chosen.values())
    days = _days(problem, chosen.values())
    before = _days(problem, ())
    for teacher, lessons in days.items():
        was = before.get(teacher, [])
        total += _hurries(problem, lessons) - _hurries(problem, was)
        total += _over(problem, lessons) - _over(problem, was)
    return total


def _days(problem: Cover, ways: Iterable[Way]) -> dict[int, list[Teaches]]:
    days: dict[int, list[Teaches]] = {}
    for one in problem.stays:
        days.setdefault(one.teacher, []).append(one)
    for way in ways:
        mine = Teaches(way.teacher, way.arena, way.from_s, way.to_s)
        days.setdefault(way.teacher, []).append(mine)
    return days


def _hurries(problem: Cover, lessons: list[Teaches]) -> int:
    """Return the points of every walk to another arena without time for it."""
    weights = problem.weights
    return weights.hurry * sum(
        one.arena != other.arena and 0 <= other.from_s - one.to_s < weights.hurry_s
        for one in lessons
        for other in lessons
    )


def _over(problem: Cover, lessons: list[Teaches]) -> int:
    taught = sum(one.to_s - one.from_s for one in lessons)
    over = max(0, taught - problem.weights.long_day_s)
    return problem.weights.per_10_min_over * -(-over // 600)


def _check_fixed(problem: Cover, settled: Mapping[int, Key | None]) -> None:
    picked: list[tuple[Covered, Way]] = []
    for lesson in problem.lessons:
        key = settled.get(lesson.key)
        if key is None:
            continue
        way = next((one for one in lesson.ways if one.key == key), None)
        if way is None:
            raise UnableToCover(
                f"{lesson.name} can't be held as you chose any more. Choose again."
            )
        picked.append((lesson, way))
    for (one, way), (other, its) in combinations(picked, 2):
        if clash(one, way, other, its):
            raise UnableToCover(
                f"{one.name} and {other.name} can't both be held as you chose: an "
                "instructor, arena, horse or rider would be in both. Change one."
            )


def _next(problem: Cover, lesson: Covered, chosen: Chosen) -> Way | None:
    """Return the best other way of a lesson with the others as they are."""
    mine = chosen.get(lesson.key)
    others = [
        (one, chosen[one.key])
        for one in problem.lessons
        if one.key != lesson.key and one.key in chosen
    ]
    free = [
        way
        for way in lesson.ways
        if (mine is None or way.key != mine.key)
        and not any(clash(lesson, way, other, its) for other, its in others)
    ]
    return min(
        free,
        key=lambda way: (cost(problem, chosen | {lesson.key: way}), way.key),
        default=None,
    )


def _solve(
    problem: Cover, settled: Mapping[int, Key | None], limit: float
) -> tuple[Chosen, bool]:
    model = cp_model.CpModel()
    use: dict[Pick, cp_model.IntVar] = {}
    ways: dict[Pick, Way] = {}
    costs: list[cp_model.LinearExprT] = []
    falls: list[cp_model.IntVar] = []
    for lesson in problem.lessons:
        off = model.new_bool_var(f"{lesson.key} off")
        falls.append(off)
        mine: list[cp_model.IntVar] = []
        for way in lesson.ways:
            pick = (lesson.key, way.key)
            use[pick] = model.new_bool_var(f"{pick}")
            ways[pick] = way
            mine.append(use[pick])
            costs.append(way.points * use[pick])
        model.add_exactly_one([*mine, off])
        if lesson.key in settled:
            key = settled[lesson.key]
            model.add((off if key is None else use[lesson.key, key]) == 1)
    _keep_apart(model, problem, use)
    costs += _together(model, problem, use, ways)
    alone = _worst(problem) + 1
    costs += [alone * fall for fall in falls]
    model.minimize(sum(costs))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = limit
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        raise UnableToCover("No answer was found in the time given. Fix fewer lessons.")
    chosen = {
        pick[0]: ways[pick] for pick, variable in use.items() if solver.value(variable)
    }
    return chosen, status == cp_model.OPTIMAL


def _worst(problem: Cover) -> int:
    """Return at least as many points as all lessons held can come to."""
    weights, count = problem.weights, len(problem.lessons)
    longest = sum(
        max((way.to_s - way.from_s for way in one.ways), default=0)
        for one in problem.lessons
    )
    worst = sum(
        max((way.points for way in one.ways), default=0) for one in problem.lessons
    )
    hurries = 2 * weights.hurry * count * (len(problem.stays) + count)
    return worst + hurries + weights.per_10_min_over * (longest // 600 + 1 + count)


Span = tuple[int, int, cp_model.IntVar]


def _keep_apart(
    model: cp_model.CpModel, problem: Cover, use: Mapping[Pick, cp_model.IntVar]
) -> None:
    """Let nobody and nothing be in two lessons at once, or in one before its rest."""
    held: dict[tuple[str, int], list[Span]] = {}
    for lesson in problem.lessons:
        for way in lesson.ways:
            variable = use[lesson.key, way.key]
            span = (way.from_s, way.to_s, variable)
            held.setdefault(("teacher", way.teacher), []).append(span)
            held.setdefault(("arena", way.arena), []).append(span)
            for key, rest in lesson.takes.items():
                rested = (way.from_s, way.to_s + rest, variable)
                held.setdefault(("takes", key), []).append(rested)
    for spans in held.values():
        # Spans that overlap at all do so where one of them begins.
        for start in sorted({one[0] for one in spans}):
            now = [variable for first, last, variable in spans if first <= start < last]
            if len(now) > 1:
                model.add_at_most_one(now)


def _together(
    model: cp_model.CpModel,
    problem: Cover,
    use: Mapping[Pick, cp_model.IntVar],
    ways: Mapping[Pick, Way],
) -> list[cp_model.LinearExprT]:
    """Return what the day of each instructor costs beyond its single lessons."""
    costs: list[cp_model.LinearExprT] = []
    of: dict[int, list[tuple[Way, cp_model.IntVar]]] = {}
    for pick, way in ways.items():
        of.setdefault(way.teacher, []).append((way, use[pick]))
    for teacher, mine in sorted(of.items()):
        stays = [one for one in problem.stays if one.teacher == teacher]
        costs += _walks(model, problem, mine, stays)
        costs += _long_day(model, problem, teacher, mine, stays)
    return costs


def _walks(
    model: cp_model.CpModel,
    problem: Cover,
    mine: list[tuple[Way, cp_model.IntVar]],
    stays: list[Teaches],
) -> list[cp_model.LinearExprT]:
    weights = problem.weights
    costs: list[cp_model.LinearExprT] = []
    ends: dict[tuple[int, int], list[cp_model.IntVar]] = {}
    for way, variable in mine:
        ends.setdefault((way.arena, way.to_s), []).append(variable)
        for one in stays:
            gaps = (one.from_s - way.to_s, way.from_s - one.to_s)
            if one.arena != way.arena and any(0 <= g < weights.hurry_s for g in gaps):
                costs.append(weights.hurry * variable)
    for (arena, end), leaves in sorted(ends.items()):
        for later in sorted({way.from_s for way, _ in mine}):
            if not 0 <= later - end < weights.hurry_s:
                continue
            comes = [v for w, v in mine if w.from_s == later and w.arena != arena]
            if comes:
                hurry = model.new_bool_var(f"{arena} {end} {later}")
                model.add(hurry >= sum(leaves) + sum(comes) - 1)
                costs.append(weights.hurry * hurry)
    return costs


def _long_day(
    model: cp_model.CpModel,
    problem: Cover,
    teacher: int,
    mine: list[tuple[Way, cp_model.IntVar]],
    stays: list[Teaches],
) -> list[cp_model.LinearExprT]:
    weights = problem.weights
    held_s = sum(one.to_s - one.from_s for one in stays)
    free_s = weights.long_day_s - held_s
    could_s = sum(way.to_s - way.from_s for way, _ in mine)
    if could_s <= free_s:
        return []
    taught = sum((way.to_s - way.from_s) * variable for way, variable in mine)
    over = model.new_int_var(0, could_s // 600 + 1, f"{teacher} long")
    before = -(-max(0, -free_s) // 600)
    # Tens of minutes over a long day, begun ones counted whole, less those it had.
    model.add(600 * (over + before) >= taught - free_s)
    return [weights.per_10_min_over * over]
