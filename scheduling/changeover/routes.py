"""The shortest walk that carries everything: numbers only, exactly for small lists.

`carry_all` walks the loads of a list, several in hand where they are light
enough. `shift_all` puts the shifts of a list in order. Both say the least way for
each spot at which the walk may end, so that what follows can choose.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from heapq import heappop, heappush
from itertools import count, pairwise, takewhile
from math import inf

from scheduling.changeover.loads import Spot

Way = Callable[[Spot, Spot], float]

MOST_STATES = 6_000
"""How many states are looked at before the walk is only a good one."""

MOST_SHIFTS = 9
"""Up to how many shifts are put in order exactly."""


@dataclass(frozen=True, slots=True)
class Load:
    """All that goes one way: from where, to where, and what each armful weighs [g]."""

    origin: Spot
    to: Spot
    weights_g: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Stop:
    """A spot of the walk, and the loads picked up (armful by armful) or put down."""

    at: Spot
    takes: tuple[tuple[int, int], ...] = ()
    leaves: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Route:
    """A walk that carries everything, its way [cm], and whether none is shorter."""

    way_cm: float
    stops: tuple[Stop, ...]
    exact: bool


Counts = tuple[int, ...]
State = tuple[Spot, Counts, Counts]
"""Where one stands, and how many armfuls of each load were picked up and put down."""


def carry_all(loads: Sequence[Load], most_g: int, way: Way) -> dict[Spot, Route]:
    """Return the shortest walk from the store by the spot at which it ends.

    Parameters
    ----------
    loads
        What is to be carried; the armfuls of one load leave in their order.
    most_g
        What is carried at once [g]; no armful is above it.
    way
        The way between two spots [cm].
    """
    if not loads:
        return {None: Route(0.0, (), True)}
    settled = _settled(loads, most_g)
    stops, cm = list[Stop](), 0.0
    for n, (load, armfuls) in enumerate(zip(loads, settled, strict=True)):
        for k in range(armfuls):
            stops += [Stop(load.origin, ((n, k),)), Stop(load.to, (), ((n, k),))]
            cm += 2 * way(load.origin, load.to)
    found = _search(loads, most_g, way, settled)
    return {
        spot: Route(cm + one.way_cm, (*stops, *one.stops), one.exact)
        for spot, one in found.items()
    }


def _settled(loads: Sequence[Load], most_g: int) -> Counts:
    """Count the armfuls of each load that can only be walked there and back.

    That is so where all come from the store, or all go to it: one that fills the
    hands so that nothing goes with it is a walk of its own. The last of a load is
    left, since the walk may end with it.
    """
    origins = {load.origin for load in loads}
    ends = {load.to for load in loads}
    if origins != {None} and ends != {None}:
        return (0,) * len(loads)
    lightest = min(weight for load in loads for weight in load.weights_g)
    return tuple(
        len(list(takewhile(lambda g: g + lightest > most_g, load.weights_g[:-1])))
        for load in loads
    )


def _search(
    loads: Sequence[Load], most_g: int, way: Way, begun: Counts
) -> dict[Spot, Route]:
    """Walk what is left at the store, when so many armfuls are carried already."""
    wanted = {load.to for load in loads}
    all_down = tuple(len(load.weights_g) for load in loads)
    first: State = (None, begun, begun)
    walked: dict[State, float] = {first: 0.0}
    came: dict[State, State] = {}
    number = count()
    left = _least_left(loads, most_g, way)
    queue = [(left(first), next(number), 0.0, first)]
    ends: dict[Spot, Route] = {}
    looked = 0
    enough = inf
    while queue and len(ends) < len(wanted):
        least, _, cm, state = heappop(queue)
        if least > enough:
            break
        if cm > walked[state]:
            continue
        if state[2] == all_down:
            ends[state[0]] = Route(cm, _stops(came, state), True)
            # To end elsewhere is never worth more than the way there.
            enough = min(enough, cm + max(way(state[0], one) for one in wanted))
            continue
        looked += 1
        if looked > MOST_STATES:
            good = ends or _greedy(loads, most_g, way, first)
            return {spot: replace(one, exact=False) for spot, one in good.items()}
        for after in _next(loads, state, most_g):
            further = cm + way(state[0], after[0])
            if further < walked.get(after, inf):
                walked[after], came[after] = further, state
                heappush(queue, (further + left(after), next(number), further, after))
    return ends


def _in_hand(loads: Sequence[Load], state: State) -> int:
    _, up, down = state
    return sum(
        sum(load.weights_g[b:a]) for load, a, b in zip(loads, up, down, strict=True)
    )


def _next(loads: Sequence[Load], state: State, most_g: int) -> list[State]:
    """Return what may be done next: pick one armful up, or put down all for a spot."""
    _, up, down = state
    hand = _in_hand(loads, state)
    found: list[State] = []
    for n, load in enumerate(loads):
        if up[n] < len(load.weights_g) and hand + load.weights_g[up[n]] <= most_g:
            found.append((load.origin, (*up[:n], up[n] + 1, *up[n + 1 :]), down))
    for spot in dict.fromkeys(
        load.to for load, a, b in zip(loads, up, down, strict=True) if a > b
    ):
        put = tuple(
            a if load.to == spot else b
            for load, a, b in zip(loads, up, down, strict=True)
        )
        found.append((spot, up, put))
    return found


def _least_left(
    loads: Sequence[Load], most_g: int, way: Way
) -> Callable[[State], float]:
    """Return what must still be walked: nobody carries more than `most_g` at once."""
    rest = [
        [sum(load.weights_g[k:]) for k in range(len(load.weights_g) + 1)]
        for load in loads
    ]
    ways = [way(load.origin, load.to) for load in loads]

    def least(state: State) -> float:
        at, up, down = state
        heavy = 0.0
        for n, (a, b) in enumerate(zip(up, down, strict=True)):
            heavy += rest[n][a] * ways[n]
            if a > b:
                heavy += (rest[n][b] - rest[n][a]) * way(at, loads[n].to)
        return heavy / most_g

    return least


def _stops(came: Mapping[State, State], state: State) -> tuple[Stop, ...]:
    """Return the stops that lead to a state; what is done at one spot is one stop."""
    chain = [state]
    while chain[-1] in came:
        chain.append(came[chain[-1]])
    chain.reverse()
    found: list[Stop] = []
    for before, after in pairwise(chain):
        takes = _difference(before[1], after[1])
        leaves = _difference(before[2], after[2])
        if found and found[-1].at == after[0]:
            last = found.pop()
            takes, leaves = last.takes + takes, last.leaves + leaves
        found.append(Stop(after[0], takes, leaves))
    return tuple(found)


def _difference(before: Counts, after: Counts) -> tuple[tuple[int, int], ...]:
    return tuple(
        (n, k) for n, (a, b) in enumerate(zip(before, after, strict=True))
        for k in range(a, b)
    )  # fmt: skip


def _greedy(
    loads: Sequence[Load], most_g: int, way: Way, first: State
) -> dict[Spot, Route]:
    """Return a good walk: on each step what is nearest, hands filled first."""
    state = first
    came: dict[State, State] = {}
    all_down = tuple(len(load.weights_g) for load in loads)
    cm = 0.0
    while state[2] != all_down:
        here = state
        after = min(
            _next(loads, here, most_g),
            key=lambda one: (way(here[0], one[0]), one[1] == here[1]),
        )
        cm += way(here[0], after[0])
        came[after] = here
        state = after
    return {state[0]: Route(cm, _stops(came, state), False)}


@dataclass(frozen=True, slots=True)
class Shifts:
    """An order of shifts: their numbers, the way there [cm], whether none is shorter.

    The way within a shift is not counted: it is the same in every order.
    """

    way_cm: float
    order: tuple[int, ...]
    exact: bool


def shift_all(
    shifts: Sequence[tuple[int, int]], way: Way, start: Mapping[Spot, float]
) -> dict[Spot, tuple[Spot, Shifts]]:
    """Return the best order of shifts by the spot of its end, and where it began.

    Parameters
    ----------
    shifts
        From where to where [cm].
    way
        The way between two spots [cm].
    start
        Where it may begin, and what was walked until there [cm].
    """
    if not shifts:
        return {spot: (spot, Shifts(0.0, (), True)) for spot in start}
    if len(shifts) > MOST_SHIFTS:
        begin = min(start, key=lambda spot: (start[spot], spot or 0))
        order = tuple(sorted(range(len(shifts)), key=lambda n: shifts[n]))
        cm, at = 0.0, begin
        for n in order:
            cm += way(at, shifts[n][0])
            at = shifts[n][1]
        return {at: (begin, Shifts(cm, order, False))}
    best: dict[tuple[frozenset[int], int], tuple[float, Spot, tuple[int, ...]]] = {}
    for n, (origin, _) in enumerate(shifts):
        begin = min(start, key=lambda spot: start[spot] + way(spot, origin))
        cm = start[begin] + way(begin, origin)
        best[(frozenset({n}), n)] = (cm, begin, (n,))
    for _ in range(len(shifts) - 1):
        grown: dict[
            tuple[frozenset[int], int], tuple[float, Spot, tuple[int, ...]]
        ] = {}
        for (done, last), (cm, begin, order) in best.items():
            for n, (origin, _) in enumerate(shifts):
                if n in done:
                    continue
                key = (done | {n}, n)
                further = cm + way(shifts[last][1], origin)
                if key not in grown or further < grown[key][0]:
                    grown[key] = (further, begin, (*order, n))
        best = grown
    found: dict[Spot, tuple[Spot, Shifts]] = {}
    for (_, last), (cm, begin, order) in best.items():
        spot = shifts[last][1]
        one = Shifts(cm - start[begin], order, True)
        if spot not in found or cm < start[found[spot][0]] + found[spot][1].way_cm:
            found[spot] = (begin, one)
    return found
