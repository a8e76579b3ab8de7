"""What is fetched from another place: as little as can be, and only what is there."""

from collections import Counter
from functools import cache

from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.elements import Piece
from exercises.geometry.store import Kept
from scheduling.changeover.fetching import NOWHERE, Fetch, Stands, Turn, fetches_of

CUP = Piece.CUP


def cups(place: str, working: int, arena: str = "") -> Kept:
    return Kept(CUP, place, working, arena=arena)


def turn(begins: int, arena: str, holds: int, line: str = "", ends: int | None = None):
    """A changeover of one minute; a line is named by its arena where it has one."""
    ends = begins + 1 if ends is None else ends
    return Turn(begins, line or arena, arena, begins, ends, {CUP: holds})


HALL, TWO, BARN = cups("Pail", 10, "Hall"), cups("Box", 4, "Two"), cups("Barn", 3)


def test_what_an_arena_lacks_is_fetched_from_another() -> None:
    assert fetches_of([HALL, TWO], [], [turn(8, "Two", 6)]) == {
        8: (Fetch(CUP, 2, "Pail"),)
    }
    assert fetches_of([HALL, TWO], [], [turn(8, "Two", 4)]) == {}


def test_the_whole_yards_are_taken_before_another_arenas_own() -> None:
    assert fetches_of([HALL, TWO, BARN], [], [turn(8, "Two", 9)]) == {
        8: (Fetch(CUP, 3, "Barn"), Fetch(CUP, 2, "Pail"))
    }


def test_what_stands_elsewhere_is_not_there_to_fetch() -> None:
    hall = Stands("Hall", "Hall", {CUP: 9})

    assert fetches_of([HALL, TWO], [hall], [turn(8, "Two", 6)]) == {
        8: (Fetch(CUP, 1, "Pail"), Fetch(CUP, 1, NOWHERE))
    }
    taken_off = [turn(7, "Hall", 0), turn(8, "Two", 6)]
    assert fetches_of([HALL, TWO], [hall], taken_off) == {8: (Fetch(CUP, 2, "Pail"),)}
    too_late = [turn(7, "Hall", 0, ends=9), turn(8, "Two", 6)]
    assert fetches_of([HALL, TWO], [hall], too_late)[8][-1] == Fetch(CUP, 1, NOWHERE)


def test_what_was_fetched_lies_there_for_the_next_grid() -> None:
    turns = [turn(8, "Two", 6), turn(10, "Two", 0), turn(12, "Two", 6)]

    assert fetches_of([HALL, TWO], [], turns) == {8: (Fetch(CUP, 2, "Pail"),)}


def test_what_its_own_arena_needs_later_is_left_there() -> None:
    """The barn comes first, but the hall has some that it never needs."""
    field = cups("Field", 2, "Field")
    turns = [turn(8, "Two", 6), turn(9, "Field", 2)]

    assert fetches_of([field, HALL, TWO], [], turns) == {8: (Fetch(CUP, 2, "Pail"),)}


def test_without_a_place_of_its_own_an_arena_has_the_whole_yards() -> None:
    assert fetches_of([BARN, HALL], [], [turn(8, "Two", 3)]) == {}
    assert fetches_of([HALL], [], [turn(8, "Two", 3)]) == {8: (Fetch(CUP, 3, "Pail"),)}
    # What lay in an arena that keeps none lies there for the next.
    turns = [turn(8, "Two", 3), turn(9, "Two", 0), turn(10, "Two", 3)]
    assert fetches_of([HALL], [], turns) == {8: (Fetch(CUP, 3, "Pail"),)}


def test_a_kind_that_nobody_keeps_by_arena_is_fetched_nowhere() -> None:
    assert fetches_of([BARN], [], [turn(8, "Two", 9)]) == {}
    assert fetches_of([], [], [turn(8, "Two", 9)]) == {}


def test_two_lines_of_an_arena_draw_on_the_same_place() -> None:
    turns = [turn(8, "Two", 3, "near"), turn(9, "Two", 3, "far")]

    assert fetches_of([HALL, TWO], [], turns) == {9: (Fetch(CUP, 2, "Pail"),)}


ARENAS = ("Hall", "Two", "Field")


@st.composite
def days(draw):
    """Up to three places, and up to six changeovers one after another."""
    kept = [
        cups(f"at {arena}", draw(st.integers(0, 3)), arena)
        for arena in draw(st.sets(st.sampled_from(ARENAS), min_size=1))
    ]
    if draw(st.booleans()):
        kept.append(cups("Barn", draw(st.integers(0, 2))))
    standing = [
        Stands(arena, arena, {CUP: draw(st.integers(0, 2))})
        for arena in draw(st.sets(st.sampled_from(ARENAS)))
    ]
    turns = [
        turn(2 * n, draw(st.sampled_from(ARENAS)), draw(st.integers(0, 3)))
        for n in range(draw(st.integers(0, 6)))
    ]
    return sorted(kept, key=lambda one: one.place), standing, turns


def own_places(kept, arena):
    beside = [one.place for one in kept if one.arena == arena]
    return beside or [one.place for one in kept if not one.arena] or [arena]


def morning(kept, standing):
    """What lies where before the day: its own stand first, then the whole yard's."""
    lies = Counter({one.place: one.working for one in kept})
    beyond = 0
    for one in standing:
        for _ in range(one.holds[CUP]):
            near = [p for p in own_places(kept, one.arena) if lies[p] > 0]
            if near:
                lies[near[0]] -= 1
            else:
                beyond += 1
    for one in sorted(kept, key=lambda k: (k.arena != "", -k.working, k.place)):
        gone = min(lies[one.place], beyond)
        lies[one.place] -= gone
        beyond -= gone
    return lies


@given(days())
def test_pieces_are_conserved_and_fetched_only_from_where_they_lie(day) -> None:
    kept, standing, turns = day
    lies, found = morning(kept, standing), fetches_of(kept, standing, turns)
    holds = {one.line: one.holds[CUP] for one in standing}
    missing = 0
    for one in turns:
        change = one.holds[CUP] - holds.get(one.line, 0)
        holds[one.line] = one.holds[CUP]
        near = own_places(kept, one.arena)
        if change <= 0:
            lies[near[0]] -= change
            assert one.key not in found
            continue
        for fetch in found.get(one.key, ()):
            change -= fetch.count
            if fetch.place == NOWHERE:
                missing += fetch.count
                continue
            assert fetch.place not in near
            lies[fetch.place] -= fetch.count
            assert lies[fetch.place] >= 0
        for place in near:
            taken = min(lies[place], change)
            lies[place] -= taken
            change -= taken
        assert change == 0
    there = sum(one.working for one in kept)
    stood = sum(one.holds[CUP] for one in standing)
    assert sum(lies.values()) + sum(holds.values()) == max(there, stood) + missing


@given(days())
def test_no_other_choice_fetches_fewer(day) -> None:
    """Against every choice of where each piece comes from, one after another."""
    kept, standing, turns = day
    places = sorted({p for a in ARENAS for p in own_places(kept, a)} | {
        one.place for one in kept
    })  # fmt: skip

    @cache
    def least(n: int, lies: tuple[int, ...], holds: tuple[int, ...]) -> tuple[int, int]:
        """The fewest missing, then the fewest fetched, from a changeover on."""
        if n == len(turns):
            return 0, 0
        one = turns[n]
        line = ARENAS.index(one.arena)
        change = one.holds[CUP] - holds[line]
        near = [places.index(p) for p in own_places(kept, one.arena)]
        after = (*holds[:line], one.holds[CUP], *holds[line + 1 :])
        if change <= 0:
            freed = list(lies)
            freed[near[0]] -= change
            return least(n + 1, tuple(freed), after)
        return min(
            (missing + more, fetched + far)
            for left, missing, fetched in taken(lies, change, near)
            for more, far in [least(n + 1, left, after)]
        )

    def taken(lies, count, near):
        """Every way to take so many, those missing and those from elsewhere."""
        if not count:
            return {(lies, 0, 0)}
        found = set()
        for at, there in enumerate(lies):
            if there:
                left = (*lies[:at], there - 1, *lies[at + 1 :])
                found |= {
                    (rest, missing, fetched + (at not in near))
                    for rest, missing, fetched in taken(left, count - 1, near)
                }
        return found or {(lies, count, 0)}

    lies = morning(kept, standing)
    stood = {one.line: one.holds[CUP] for one in standing}
    best = least(
        0,
        tuple(lies[place] for place in places),
        tuple(stood.get(arena, 0) for arena in ARENAS),
    )

    found = [one for its in fetches_of(kept, standing, turns).values() for one in its]
    missing = sum(one.count for one in found if one.place == NOWHERE)
    assert (missing, sum(one.count for one in found) - missing) == best
