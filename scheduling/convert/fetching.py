"""The changeovers of days as what is fetched for them from another place, in words."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from exercises.geometry.data import element_from_data
from exercises.geometry.elements import Piece, pieces
from scheduling.changeover.fetching import Stands, Turn, fetches_of
from scheduling.dayplan.leaving import found_by
from scheduling.models import Changeover
from scheduling.queries.keys import key_of
from scheduling.wording import fetch_words
from school.convert import store_of
from school.enums import LessonState
from school.models import StorePiece

Elements = Iterable[Mapping[str, Any] | None]


def fetched_before(
    changeovers: Iterable[Changeover], store: Sequence[StorePiece]
) -> dict[int, str]:
    """Say what is fetched before each changeover, by its key; nothing for most.

    `changeovers` are all of their plans, fetched with all; those called off count
    for nothing. `store` is what is kept, fetched with its places.
    """
    kept = store_of(store).kept
    where = {one.place: one.where for one in kept}
    arenas = {
        one.place.arena.pk: one.place.arena.name for one in store if one.place.arena
    }
    plans: dict[int, list[Changeover]] = defaultdict(list)
    for one in changeovers if arenas else ():
        if not _is_off(one):
            plans[one.plan_id].append(one)
    said: dict[int, str] = {}
    for its in plans.values():
        turns = [_turn(one) for one in its]
        found = fetches_of(kept, _standing(its, arenas), turns)
        said |= {
            one.pk: fetch_words(found[one.pk], where, turn.arena, _raised(one, turn))
            for one, turn in zip(its, turns, strict=True)
            if one.pk in found
        }
    return said


def _is_off(one: Changeover) -> bool:
    cancelled = one.lesson is not None and one.lesson.state == LessonState.CANCELLED
    off = one.before_work is not None and one.before_work.called_off_at is not None
    return cancelled or off


def _turn(one: Changeover) -> Turn:
    """Return a changeover as what its line holds from then on.

    A row has the pieces of its end at hand from the moment it is built.
    """
    holds = _count(move.now for move in one.moves.all())
    if holds and one.lesson_id is not None:
        grids = {x["id"]: x.get("grid") for x in one.plan.document.get("lessons", [])}
        grid = grids.get(f"lesson-{one.lesson_id}") or {}
        holds |= _count(grid.get("end") or [])
    begins, ends = one.starts_at.timestamp(), one.ends_at.timestamp()
    return Turn(one.pk, one.line_id, one.line.arena.name, begins, ends, holds)


def _raised(one: Changeover, turn: Turn) -> set[Piece]:
    """Return of which pieces a row takes more in its lesson than it is built with."""
    built = _count(move.now for move in one.moves.all())
    return {piece for piece, count in turn.holds.items() if count > built[piece]}


def _standing(
    changeovers: Sequence[Changeover], arenas: Mapping[int, str]
) -> list[Stands]:
    """Return what stands before a plan's changeovers, on lines they leave alone too."""
    document = changeovers[0].plan.document
    found = found_by(document)
    stands = {
        key_of(line["id"]): Stands(
            key_of(line["id"]),
            arenas.get(key_of(arena["id"]), arena["id"]),
            _count(found[line["id"]]),
        )
        for arena in document.get("arenas", [])
        for line in arena["lines"]
    }
    # Of a plan for what is left of a day, the list still has what was done before.
    for one in sorted(changeovers, key=lambda x: x.starts_at, reverse=True):
        was = _count(move.was for move in one.moves.all())
        stands[one.line_id] = Stands(one.line_id, one.line.arena.name, was)
    return list(stands.values())


def _count(elements: Elements) -> Counter[Piece]:
    total: Counter[Piece] = Counter()
    for one in elements:
        if one is not None:
            total += pieces(element_from_data(one))
    return total
