"""A changeover as a walk: in which order its moves are made, and how far that is.

Strip first, shift second, build third, measure, heights last, clear up. While
stripping, what is to be built is carried out on the way, so that hands are seldom
empty; it lies beside its place until it is built. Measuring goes up the line from
the datum, since the tape is read from there. All that is left to choose is chosen
so that the whole walk, from the store and back to it, is as short as can be.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from itertools import pairwise

from exercises.geometry.elements import GroundLine, Kind, Piece, pieces
from scheduling.changeover.loads import (
    Crew,
    Freight,
    Ground,
    Spot,
    Step,
    freight_of,
    shift_walks,
)
from scheduling.changeover.routes import Load, Route, Shifts, carry_all, shift_all
from scheduling.changeover.setups import PlacedElement


class Phase(StrEnum):
    """Under which heading of the list a move stands."""

    STRIP = "strip"
    SHIFT = "shift"
    BUILD = "build"
    HEIGHT = "height"
    KEEP = "keep"


@dataclass(frozen=True, slots=True)
class Walk:
    """A changeover in walking order.

    Parameters
    ----------
    order
        Numbers of the steps, in the order in which they are made.
    phases
        The heading of each step, by its number.
    freight
        What goes from where to where.
    carrying
        The walk that carries it, from the store.
    shifts, builds, measures, heights
        The spots of each pass in its order; of shifts the numbers of the steps.
    way_cm
        The whole way, from the store and back [cm].
    naive_cm
        The same fence by fence, in the order of the line, with every piece by way
        of the store [cm].
    exact
        Whether no walk under these rules is shorter.
    """

    order: tuple[int, ...]
    phases: tuple[Phase, ...]
    freight: tuple[Freight, ...]
    carrying: Route
    shifts: tuple[int, ...]
    builds: tuple[int, ...]
    measures: tuple[int, ...]
    heights: tuple[int, ...]
    way_cm: int
    naive_cm: int
    exact: bool


def phase_of(step: Step) -> Phase:
    """Return the heading of a step."""
    was, now = step
    if was is None:
        return Phase.BUILD
    if now is None:
        return Phase.STRIP
    if was.at_cm != now.at_cm or was.far_cm != now.far_cm:
        return Phase.SHIFT
    if was.element.kind is not now.element.kind or pieces(was.element) != pieces(
        now.element
    ):
        return Phase.BUILD
    return Phase.KEEP if _alike(was, now) else Phase.HEIGHT


def _alike(was: PlacedElement, now: PlacedElement) -> bool:
    """Say whether nothing is to be done; a fence without a side faces both ways."""
    one = now.element
    sided = (
        one.ascending
        or one.ground_line is GroundLine.TAKE_OFF
        or one.guides
        or one.v_poles_cm > 0
        or one.leaning is not None
    )
    return was == now or (not sided and was.element == one)


def is_measured(step: Step) -> bool:
    """Say whether a step sets something down at a place that the tape says."""
    was, now = step
    return now is not None and (
        was is None
        or (was.at_cm, was.far_cm) != (now.at_cm, now.far_cm)
        or was.element.kind is not now.element.kind
    )


def sets_height(step: Step) -> bool:
    """Say whether cups are set to a height in a step, once everything stands."""
    was, now = step
    if now is None or now.element.kind in {Kind.POLE, Kind.PLANK, Kind.RAISED_POLE}:
        return False
    if was is None or was.element.kind is not now.element.kind:
        return True
    a, b = was.element, now.element
    turned = a.ascending and b.ascending and was.faces is not now.faces
    return (
        (a.height_cm, a.ascending, a.front_rails)
        != (b.height_cm, b.ascending, b.front_rails)
    ) or turned


@lru_cache(maxsize=512)
def _walk(steps: tuple[Step, ...], ground: Ground, most: tuple[object, ...]) -> Walk:
    people, carries_g, weights = most
    crew = Crew(people, carries_g, dict(weights))  # type: ignore[arg-type, call-overload]
    return _walked(steps, ground, crew)


def walk(steps: Sequence[Step], ground: Ground, crew: Crew) -> Walk:
    """Return a changeover as the shortest walk, and the way of the naive one.

    Parameters
    ----------
    steps
        What stood and is to stand, in the order of the line.
    ground
        Where the store lies.
    crew
        Who carries, and what.
    """
    weights = tuple((piece, crew.weighs(piece)) for piece in Piece)
    return _walk(tuple(steps), ground, (crew.people, crew.carries_g, weights))


def _walked(steps: tuple[Step, ...], ground: Ground, crew: Crew) -> Walk:
    phases = tuple(phase_of(step) for step in steps)
    freight = freight_of(steps, ground, crew)
    routes = carry_all(_loads(freight), crew.most_g, ground.way)
    moved = [
        (n, was, now)
        for n, (was, now) in enumerate(steps)
        if was is not None and now is not None and phases[n] is Phase.SHIFT
    ]
    arcs = [(was.at_cm, now.at_cm) for _, was, now in moved]
    begun = {spot: route.way_cm for spot, route in routes.items()}
    ended = shift_all(arcs, ground.way, begun)
    passes = _passes(steps, phases)
    tails = {spot: _tail(spot, passes, ground) for spot in ended}

    def whole(spot: Spot) -> float:
        begin, shifts = ended[spot]
        return begun[begin] + shifts.way_cm + tails[spot].way_cm

    end = min(ended, key=whole)
    begin, shifts = ended[end]
    route, tail, total = routes[begin], tails[end], whole(end)
    inside = sum(_within(was, now, crew) for _, was, now in moved)
    order = _order(steps, phases, _carried_first(freight, route), tail, shifts)
    naive = _naive(steps, passes, ground, crew, arcs) + inside
    return Walk(
        order=order,
        phases=phases,
        freight=freight,
        carrying=route,
        shifts=tuple(moved[n][0] for n in shifts.order),
        builds=tail.builds,
        measures=passes.measures,
        heights=tail.heights,
        way_cm=round(total + inside),
        naive_cm=round(naive),
        exact=route.exact and shifts.exact,
    )


def _loads(freight: Sequence[Freight]) -> list[Load]:
    return [
        Load(one.origin, one.to, tuple(armful.weight_g for armful in one.armfuls))
        for one in freight
    ]


def _within(was: PlacedElement, now: PlacedElement, crew: Crew) -> float:
    """Return the way within a shift: there and back for each armful but the last."""
    return (2 * shift_walks(was, now, crew) - 1) * abs(was.at_cm - now.at_cm)


@dataclass(frozen=True, slots=True)
class _Passes:
    """The spots that are visited after carrying and shifting."""

    builds: tuple[int, ...]
    measures: tuple[int, ...]
    heights: tuple[int, ...]


def _passes(steps: Sequence[Step], phases: Sequence[Phase]) -> _Passes:
    def spots(chosen: list[Step]) -> tuple[int, ...]:
        return tuple(sorted({now.at_cm for _, now in chosen if now is not None}))

    built = zip(steps, phases, strict=True)
    return _Passes(
        builds=spots([step for step, phase in built if phase is Phase.BUILD]),
        measures=spots([step for step in steps if is_measured(step)]),
        heights=spots(
            [
                step
                for step, phase in zip(steps, phases, strict=True)
                if sets_height(step) or phase is Phase.HEIGHT
            ]
        ),
    )


@dataclass(frozen=True, slots=True)
class _Tail:
    way_cm: float
    builds: tuple[int, ...]
    heights: tuple[int, ...]


def _tail(start: Spot, passes: _Passes, ground: Ground) -> _Tail:
    """Return the shortest way to build, measure, set heights and come back."""
    return min(
        (
            _Tail(
                _through(start, builds, passes.measures, heights, ground),
                builds,
                heights,
            )
            for builds in _both_ways(passes.builds)
            for heights in _both_ways(passes.heights)
        ),
        key=lambda one: one.way_cm,
    )


def _both_ways(spots: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
    """Return a pass up the line and down: no other order of it is shorter."""
    return (spots, spots[::-1])


def _through(
    start: Spot,
    builds: Sequence[int],
    measures: Sequence[int],
    heights: Sequence[int],
    ground: Ground,
) -> float:
    """Return the way through all passes and to the store; the tape begins at 0."""
    tape = [0, *measures] if measures else []
    spots: list[Spot] = [start, *builds, *tape, *heights, None]
    return sum(ground.way(a, b) for a, b in pairwise(spots))


def _carried_first(freight: Sequence[Freight], route: Route) -> list[Spot]:
    """Return the spots from which something is carried, in the order of the walk."""
    spots = [freight[load].origin for stop in route.stops for load, _ in stop.takes]
    return list(dict.fromkeys(spots))


def _order(
    steps: Sequence[Step],
    phases: Sequence[Phase],
    carried_first: Sequence[Spot],
    tail: _Tail,
    shifts: Shifts,
) -> tuple[int, ...]:
    """Return the numbers of the steps as they are made; what stays comes last."""

    def of(phase: Phase, spots: Sequence[Spot]) -> list[int]:
        place = {spot: n for n, spot in enumerate(spots)}
        found = [n for n, one in enumerate(phases) if one is phase]
        return sorted(found, key=lambda n: place.get(_at(steps[n]), len(place)))

    moved = of(Phase.SHIFT, ())
    return (
        *of(Phase.STRIP, carried_first),
        *(moved[n] for n in shifts.order),
        *of(Phase.BUILD, tail.builds),
        *of(Phase.HEIGHT, tail.heights),
        *of(Phase.KEEP, ()),
    )


def _at(step: Step) -> Spot:
    """Return where a step is made: where something is to stand, else where it stood."""
    one = step[1] or step[0]
    return one.at_cm if one is not None else None


def _naive(
    steps: Sequence[Step],
    passes: _Passes,
    ground: Ground,
    crew: Crew,
    arcs: Sequence[tuple[int, int]],
) -> float:
    """Return the way fence by fence: each piece by the store, each pass up the line."""
    at: Spot = None
    cm = 0.0
    for one in freight_of(steps, ground, crew, by_store=True):
        for _ in one.armfuls:
            cm += ground.way(at, one.origin) + ground.way(one.origin, one.to)
            at = one.to
    for origin, to in arcs:
        cm += ground.way(at, origin)
        at = to
    return cm + _through(at, passes.builds, passes.measures, passes.heights, ground)
